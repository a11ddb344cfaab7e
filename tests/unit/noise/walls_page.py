"""Make the table of constructions in docs/neighbour.md from the packed data.

Run: PYTHONPATH=. python tests/unit/noise/walls_page.py
In: the constructions as the program reads them. Out: the page, its tables renewed between the two marks.
Leaves out: the words around the tables, which stand in the page itself.
"""

from pathlib import Path

import numpy as np

from chatter.noise.walls import Construction, list_constructions

PAGE = Path(__file__).parents[3] / "docs" / "neighbour.md"
BEGIN, END = "<!-- tables begin -->\n", "<!-- tables end -->\n"
OCTAVES_HZ = (63, 125, 250, 500, 1000, 2000, 4000, 8000)


def number_sources() -> dict[str, int]:
    sources = dict.fromkeys(source for entry in list_constructions() for source in entry.sources)
    return {source: 1 + n for n, source in enumerate(sources)}


def make_tables() -> str:
    numbers = number_sources()

    def row(entry: Construction) -> list[str]:
        reduction_db = entry.reduction_db(np.array(OCTAVES_HZ, dtype=float))
        shown = [
            f"{db:.0f}" if hz in entry.octaves_hz else f"({db:.0f})"
            for hz, db in zip(OCTAVES_HZ, reduction_db, strict=True)
        ]
        marks = ", ".join(str(numbers[source]) for source in entry.sources)
        return [entry.name, *shown, f"-{entry.down_db:g}, +{entry.up_db:g}", f"{entry.strength} [{marks}]"]

    head = ["name", *map(str, OCTAVES_HZ), "gets through, dB", "from"]
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    lines += ["| " + " | ".join(row(entry)) + " |" for entry in list_constructions()]
    lines += ["", "| name | answers also to | shut it is | mind |", "|---|---|---|---|"]
    lines += [
        f"| {entry.name} | {', '.join(entry.names)} | {entry.shut_as or ''} | {entry.note} |"
        for entry in list_constructions()
    ]
    lines += ["", *(f"{number}. {source}" for source, number in numbers.items()), ""]
    return "\n".join(lines)


def page_with_fresh_tables() -> str:
    before, _, rest = PAGE.read_text(encoding="utf-8").partition(BEGIN)
    _, _, after = rest.partition(END)
    return f"{before}{BEGIN}\n{make_tables()}\n{END}{after}"


if __name__ == "__main__":
    PAGE.write_text(page_with_fresh_tables(), encoding="utf-8")
