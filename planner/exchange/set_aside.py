"""What was set aside, as a file of its own: each row as it stood, with the reason before it."""

from __future__ import annotations

import csv
import io
import json

from planner.exchange.case_reader import CaseSource, SetAside
from planner.exchange.case_text import WHY
from planner.exchange.csv_table import CsvRow
from planner.exchange.json_cases import JsonItem


def file_of(source: CaseSource, refused: list[SetAside]) -> tuple[str, bytes] | None:
    """Name and content of the file for one source: CSV for a table, one JSON object a line for JSON.

    None when the source is one case in a file of its own, which is set aside as it is.
    """
    rows = [(item.why, item.original) for item in refused if isinstance(item.original, CsvRow)]
    if source.table is not None and rows:
        text = io.StringIO()
        writer = csv.writer(text, delimiter=source.table.separator, lineterminator="\n")
        writer.writerow([WHY, *source.table.columns])
        writer.writerows([why, *row.cells] for why, row in rows)
        return f"{source.stem}.set-aside.csv", text.getvalue().encode()
    items = [(item.why, item.original) for item in refused if isinstance(item.original, JsonItem)]
    if items:
        lines = [json.dumps({WHY: why, **_members(item)}, ensure_ascii=False) for why, item in items]
        return f"{source.stem}.set-aside.jsonl", "".join(f"{line}\n" for line in lines).encode(errors="surrogatepass")
    return None


def _members(item: JsonItem) -> dict[str, object]:
    if isinstance(item.value, dict):
        return item.value
    return {"text": item.text} if item.error is not None else {"value": item.value}
