"""Talk to instruments: turn settings into bytes and replies into readings."""

from .bench import Bench
from .bench_file import BenchFile, load_bench_file
from .opening import open_bench

__all__ = ["Bench", "BenchFile", "load_bench_file", "open_bench"]
