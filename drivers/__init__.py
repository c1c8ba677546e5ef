"""Talk to instruments: turn settings into bytes and replies into readings."""

from .bench import Bench, open_bench
from .bench_file import BenchFile, load_bench_file

__all__ = ["Bench", "BenchFile", "load_bench_file", "open_bench"]
