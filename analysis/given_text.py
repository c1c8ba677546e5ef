"""What text from outside may be: a file's content, a label, a name.

One rule for all readers of files, and one for all labels. Nothing is opened here:
whoever reads a file hands on what the system says of it, and how its bytes are had.
"""

import os
import stat
import unicodedata
from collections.abc import Callable

from .errors import InputError

__all__ = ["LONGEST_LABEL", "label_trouble", "shown", "text_of_file", "usable_label"]

LONGEST_LABEL = 200  # characters; PostgreSQL's indices take 2700 bytes
LONGEST_SHOWN = 60  # characters of what was given, in a sentence
_KINDS = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)


def text_of_file(
    status: os.stat_result,
    *,
    read: Callable[[int], bytes],
    most_bytes: int,
    what: str,
) -> str:
    r"""Give a file's text, or refuse the file.

    Parameters
    ----------
    status
        What the system says of the file.
    read
        Reads so many bytes of it at most; called where the file is one to be read.
    most_bytes
        How large it may be.
    what
        What the file is, with its name, for the error's sentence.

    Returns
    -------
    str
        The text, its lines ended by ``\n`` however they were, no mark before it.

    Raises
    ------
    InputError
        It is no regular file (a pipe would be waited on, a device has no end), too
        large, or not text in UTF-8.
    """
    for is_one, kind in _KINDS:
        if is_one(status.st_mode):
            raise InputError(f"cannot read {what}: it is {kind}, not a file")
    content = read(most_bytes + 1) if status.st_size <= most_bytes else b""
    if max(status.st_size, len(content)) > most_bytes:
        raise InputError(
            f"cannot read {what}: it is larger than {most_bytes / 1e6:g} MB, which is "
            "the most that is read"
        )
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        utf16 = content.startswith((b"\xff\xfe", b"\xfe\xff"))
        why = "it looks like UTF-16" if utf16 else f"see line {line}"
        raise InputError(
            f"cannot read {what}: it is not UTF-8 text ({why}); save it as UTF-8"
        ) from error
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise InputError(
            f"cannot read {what}: line {line} holds a byte of zero, which no text has; "
            "save it as UTF-8"
        )
    return text.replace("\r\n", "\n").replace("\r", "\n")


def label_trouble(label: str) -> str:
    """Say what keeps a text from being a label or a name; nothing where none does.

    Control characters and line breaks would steer terminals and break files of lines,
    and a long one fits no list and no file's name. Half a surrogate pair (bytes of a
    terminal that are no text) is let through: files write its escape.
    """
    if len(label) > LONGEST_LABEL:
        return f"it has {len(label)} characters, and {LONGEST_LABEL} are the most"
    if any(unicodedata.category(one) in {"Cc", "Zl", "Zp"} for one in label):
        return "it holds a control character; write it on one line"
    return ""


def usable_label(label: str, *, what: str) -> str:
    """Give a label or a name back, or refuse it (see `label_trouble`).

    Raises
    ------
    InputError
        It is too long or holds a control character; ``what`` says which label it is.
    """
    trouble = label_trouble(label)
    if trouble:
        raise InputError(f"{what} {shown(label)} cannot be used: {trouble}")
    return label


def shown(given: object) -> str:
    """Write what was given for a sentence: quoted, and cut where it is long."""
    text = given if isinstance(given, str) else repr(given)
    cut = text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}..."
    return repr(cut) if isinstance(given, str) else cut
