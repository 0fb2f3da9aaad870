"""``python -m tests.rendering --design quarries --tier clean --seed 1 -o FOLDER``."""

from tests.rendering.cli import main

main()
