"""A person as an instrument: asked, doubted, asked again."""

from collections import deque

import pytest

from halfpower.drivers.instruments import (
    HandDetector,
    HandGenerator,
    OutputState,
    TakenBackError,
    ask_for_word,
)


class Person:
    """Answers in order, and remembers what was said to them."""

    def __init__(self, *answers: str) -> None:
        self.answers = deque(answers)
        self.asked: list[str] = []
        self.told: list[str] = []

    def ask(self, question: str) -> str:
        """Answer the next."""
        self.asked.append(question)
        return self.answers.popleft()

    def tell(self, text: str) -> None:
        """Hear it."""
        self.told.append(text)


def generator_of(person: Person) -> HandGenerator:
    """A 50 ohm generator with that person at it."""
    return HandGenerator(person.ask, tell=person.tell, source_ohm=50.0)


def detector_of(person: Person) -> HandDetector:
    """A detector with that person's eye on it."""
    return HandDetector(person.ask, tell=person.tell, load_ohm=50.0)


def test_the_dial_s_own_reading_is_the_frequency() -> None:
    """Asked for 7.1 MHz, set 7.102: the reading belongs to 7.102."""
    person = Person("7.102 MHz")
    assert generator_of(person).set_frequency(7.1e6) == 7.102e6
    assert "7.1 MHz" in person.asked[0]


def test_enter_means_just_what_was_asked() -> None:
    """As far as it was written: seven digits, not the planner's own sixteen."""
    person = Person("")
    assert generator_of(person).set_frequency(7123456.789) == 7123457.0
    assert "7.123457 MHz" in person.asked[0]


@pytest.mark.parametrize("slip", ["7.1", "71 MHz", "yes", "7,1 MHz", "6.2 MHz"])
def test_a_dial_far_from_what_was_asked_is_asked_for_again(slip: str) -> None:
    """A missing unit, a digit too many, a word, a comma, another band."""
    person = Person(slip, "7.1MHz")
    assert generator_of(person).set_frequency(7.1e6) == 7.1e6
    assert len(person.asked) == 2
    assert len(person.told) == 1


def test_the_level_is_asked_for_in_both_usual_units() -> None:
    """1 V e.m.f. behind 50 ohm: 1.414 Vpp into 50 ohm, 5 mW, 6.99 dBm."""
    person = Person("")
    generator_of(person).set_emf(1.0)
    assert "1.414 Vpp" in person.asked[0]
    assert "6.99 dBm" in person.asked[0]


def test_the_person_is_told_to_switch_off_once() -> None:
    """Whenever the output may be on; no answer is waited for."""
    person = Person("", "")
    generator = generator_of(person)
    generator.start()
    generator.output_off()
    assert person.told == []
    generator.output_on()
    generator.output_off()
    generator.output_off()
    assert person.told == ["SWITCH THE GENERATOR'S OUTPUT OFF NOW."]


def test_the_person_is_told_even_when_interrupted_at_the_switch() -> None:
    """Ctrl-C at the question: the output may be on already."""
    person = Person()
    generator = generator_of(person)
    with pytest.raises(IndexError):  # stands for the interrupt
        generator.output_on()
    generator.output_off()
    assert len(person.told) == 1


def test_off_is_what_the_person_says_and_not_what_they_were_told() -> None:
    """Asked at the end of a drive; told on the way out of an error: not known."""
    person = Person("", "", "L017", "back", "yes", "", "")
    generator = generator_of(person)
    generator.start()
    assert generator.output is OutputState.OFF
    generator.output_on()
    assert generator.output is OutputState.ON
    generator.see_off()
    assert generator.output is OutputState.OFF
    assert [one for one in person.told if "no answer here" in one] == person.told
    assert len(person.told) == 2
    generator.output_on()
    generator.output_off()
    assert generator.output is OutputState.TOLD_OFF
    generator.see_off()  # before hands go in
    assert generator.output is OutputState.OFF
    assert not person.answers


def test_enter_yes_or_the_words_that_are_listed_are_answers() -> None:
    """With a slash and in capitals too; what is refused is named with the list."""
    person = Person("again", "S1", "\x1b[2J", "/STOP")
    words = {"tell": person.tell, "words": ("stop",)}
    assert ask_for_word(person.ask, "Put it in:", **words) == "stop"
    assert len(person.told) == 3
    listed = "press Enter (or type yes), or stop."
    assert all(one.endswith(listed) for one in person.told)
    assert "'again'" in person.told[0]
    assert "\x1b" not in person.told[2]
    for enter in ("", " ", "yes", "Y"):
        assert ask_for_word(Person(enter).ask, "Put it in:", **words) == ""


def test_the_needle_is_read_in_the_unit_of_the_last_time() -> None:
    """The question names it."""
    person = Person("340mV", "350")
    detector = detector_of(person)
    assert detector.read().amplitude_v == pytest.approx(0.34)
    assert detector.read().amplitude_v == pytest.approx(0.35)
    assert "in mV" in person.asked[1]


def test_nonsense_is_refused_with_a_reason_and_asked_again() -> None:
    """Three slips, then a reading."""
    person = Person("12", "twelve", "12 mA", "12mV")
    assert detector_of(person).read().amplitude_v == pytest.approx(0.012)
    assert len(person.told) == 3
    assert "no unit" in person.told[0]


@pytest.mark.parametrize("word", ["back", " BACK "])
def test_back_takes_the_last_reading_back(word: str) -> None:
    """At the detector and at the generator alike."""
    with pytest.raises(TakenBackError):
        detector_of(Person(word)).read()
    with pytest.raises(TakenBackError):
        generator_of(Person(word)).set_frequency(7.1e6)


def test_a_frequency_that_stands_is_not_asked_for_twice() -> None:
    """A variable capacitor is turned at one frequency: one question."""
    person = Person("7.102 MHz")
    generator = generator_of(person)
    assert generator.set_frequency(7.1e6) == generator.set_frequency(7.1e6) == 7.102e6
    assert len(person.asked) == 1


def test_a_frequency_in_doubt_is_asked_for_again() -> None:
    """After a reading was taken back, or the output went off: the dial may be wrong."""
    person = Person("7.112 MHz", "7.102 MHz", "", "")
    generator = generator_of(person)
    generator.set_frequency(7.1e6)
    generator.restore()
    assert generator.set_frequency(7.1e6) == 7.102e6
    generator.output_on()
    generator.output_off()
    generator.set_frequency(7.1e6)
    assert len(person.asked) == 4
