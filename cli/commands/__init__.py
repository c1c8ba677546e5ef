"""One file a command; `halfpower.cli.app` puts them together."""

__all__: list[str] = []
