"""``python -m slotwright.cli``."""

from slotwright.cli import main

main()
