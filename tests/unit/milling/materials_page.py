"""Make the tables of docs/materials.md from the packed data.

Run: PYTHONPATH=. python tests/unit/milling/materials_page.py
In: the materials as the program reads them. Out: the page, its tables renewed between the two marks.
Leaves out: the words around the tables, which stand in the page itself.
"""

from pathlib import Path

from chatter.milling.kinematics import mean_chip_mm
from chatter.milling.materials import Material, Range, Sourced, list_materials

PAGE = Path(__file__).parents[3] / "docs" / "materials.md"
BEGIN, END = "<!-- tables begin -->\n", "<!-- tables end -->\n"
DIAMETERS_MM = (3, 6, 10, 12)
SLOT_FEED_MM = 0.05  # where the two pressure tables are compared
THICKNESSES_MM = (0.02, 0.05, 0.1, 0.2, 0.4)


def number_sources() -> dict[str, int]:
    parts = [part for material in list_materials() for part in sourced_parts(material)]
    return {
        source: 1 + n for n, source in enumerate(dict.fromkeys(s for part in parts for s in part.sources))
    }


def sourced_parts(material: Material) -> list[Sourced]:
    parts = [
        material.pressure,
        material.kienzle,
        material.tangential_n_mm2,
        material.radial_ratio,
        material.carbide_m_min,
        material.hss_m_min,
        material.chip_loads,
    ]
    return [part for part in parts if part is not None]


def make_tables() -> str:
    numbers = number_sources()

    def marked(text: str, part: Sourced) -> str:
        weak = "" if part.is_sure else " weak"
        return f"{text}{weak} [{', '.join(str(numbers[source]) for source in part.sources)}]"

    def span(part: Range | None, form: str) -> str:
        return "" if part is None else marked(f"{part.low:{form}} to {part.high:{form}}", part)

    def pressure_row(material: Material) -> list[str]:
        part, other = material.pressure, material.kienzle
        if part is None:
            return [material.name] + [""] * (len(THICKNESSES_MM) + 3)
        values = [f"{part.at_n_mm2(thickness):.0f}" for thickness in THICKNESSES_MM]
        if len(part.n_mm2) == 1:
            values = [f"{part.n_mm2[0]:g}"] * len(THICKNESSES_MM)
        kienzle = "" if other is None else marked(f"{other.kc11_n_mm2:g}, {other.mc:g}", other)
        ratio = ""
        if other is not None:
            chip_mm = mean_chip_mm(SLOT_FEED_MM, width_mm=6, diameter_mm=6)
            first = part.at_n_mm2(SLOT_FEED_MM if part.against == "tooth feed" else chip_mm)
            ratio = f"{other.at_n_mm2(chip_mm) / first:.1f}"
        return [material.name, *values, marked(part.against, part), kienzle, ratio]

    def chip_row(material: Material) -> list[str]:
        part = material.chip_loads
        if part is None:
            return [material.name] + [""] * (len(DIAMETERS_MM) + 1)
        ranges = [tuple(f"{value:.3f}" for value in part.at_mm(diameter)) for diameter in DIAMETERS_MM]
        cells = [low if low == high else f"{low} to {high}" for low, high in ranges]
        return [material.name, *cells, marked("", part).strip()]

    materials = list_materials()
    tables = (
        (
            "Names",
            ["material", "answers also to", "mind"],
            [[material.name, ", ".join(material.names), material.note] for material in materials],
        ),
        (
            "Specific cutting pressure, N/mm², by thickness in mm",
            ["material", *map(str, THICKNESSES_MM), "thickness meant", "second: kc1.1, mc", "second / first"],
            [pressure_row(material) for material in materials],
        ),
        (
            "Cutting coefficients and surface speed",
            ["material", "tangential, N/mm²", "radial share", "carbide, m/min", "HSS, m/min"],
            [
                [
                    material.name,
                    span(material.tangential_n_mm2, ".0f"),
                    span(material.radial_ratio, ".2f"),
                    span(material.carbide_m_min, ".0f"),
                    span(material.hss_m_min, ".0f"),
                ]
                for material in materials
            ],
        ),
        (
            "Chip load, mm a tooth, by tool diameter",
            ["material", *(f"{diameter} mm" for diameter in DIAMETERS_MM), "from"],
            [chip_row(material) for material in materials],
        ),
    )
    lines = []
    for title, head, rows in tables:
        lines += [f"## {title}", "", "| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
        lines += ["| " + " | ".join(row) + " |" for row in rows] + [""]
    lines += ["## Sources", "", *(f"{number}. {source}" for source, number in numbers.items()), ""]
    return "\n".join(lines)


def page_with_fresh_tables() -> str:
    before, _, rest = PAGE.read_text(encoding="utf-8").partition(BEGIN)
    _, _, after = rest.partition(END)
    return f"{before}{BEGIN}\n{make_tables()}\n{END}{after}"


if __name__ == "__main__":
    PAGE.write_text(page_with_fresh_tables(), encoding="utf-8")
