"""`python -m chatter` is the command line."""

from chatter.cli import main

if __name__ == "__main__":
    main()
