"""What a batch found, one line a row, for a person who reads no JSON.

In: the documents of a batch, in the table's order. Out: lines that read without colour.
Leaves out: any judgement; every number stands in the documents.
"""

from collections.abc import Iterable, Iterator
from typing import Any

from chatter.report._wrapping import beside, wrap
from chatter.report.cut_words import DOUBTED, tell_percent

IN_DOUBT = ("unknown", "in air")
HEAD = f"{'row':>4}  {'verdict':<9}  {'chatter':>7}  {'at Hz':>8}  {'set next':<16}  file"


def batch_to_lines(documents: Iterable[dict[str, Any]]) -> Iterator[str]:
    """Give a line for each answer, two where a file's name is long, and what was wrong with rows that failed.

    Parameters
    ----------
    documents
        `cut` documents, and `error` documents in the place of rows that failed.
    """
    for row, document in enumerate(documents, start=1):
        if row == 1:
            yield HEAD
        if document["document"] == "error":
            yield from wrap(f"failed: {document['message']}", f"{row:>4}  ", " " * 6)
            continue
        chance = tell_percent(document["chatter_probability"])
        hz = "-" if document["chatter_hz"] is None else f"{document['chatter_hz']:,.1f}"
        figures = f"{row:>4}  {document['verdict']:<9}  {chance:>7}  {hz:>8}  {_set_next(document):<16}"
        yield from beside(figures, document["recording"]["file"], " " * 6)


def _set_next(document: dict[str, Any]) -> str:
    advice = document["advice"]
    if any(finding["code"] in DOUBTED for finding in document["recording"]["findings"]):
        return "check rpm/flutes"  # the rest hangs on them
    if advice.get("urgent"):
        return "cautions first"
    if document["verdict"] == "marginal" and document["cuts"][document["cut_index"]].get("tone") in IN_DOUBT:
        return "is it the shop's"  # of a lone tone: an air pass tells
    if advice["action"] == "change speed" and advice["speeds"]:
        return f"dial {advice['speeds'][0]['set_rpm']:,.0f}"
    if advice["action"] == "reduce depth" and advice["depth_factor"] is not None:
        return f"{advice['depth_factor']:.2f} x the depth"
    return str(advice["action"])
