"""`python -m coach`."""

from coach.cli import main

raise SystemExit(main())
