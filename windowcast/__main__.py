"""``python -m windowcast``."""

from windowcast.cli import main

main()
