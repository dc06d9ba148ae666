"""`python -m lodewalk` is the program `lodewalk`."""

from lodewalk.cli.main import main

main()
