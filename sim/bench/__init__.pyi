from .bench import SimulatedBench as SimulatedBench
