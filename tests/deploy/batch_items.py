"""Items that batches are hurt with: of every kind that is dear, in each of the three forms."""

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from contract import costs

DEAR: dict[str, Any] = {
    "pipe": {"outside_diameter": {"value": 10, "unit": "mm"},
             "wall": {"value": 1, "unit": "mm"}, "material": "copper_c12200"},
    "jacket": {"length": {"value": 20, "unit": "mm"}},
    "hold": {"value": 4, "unit": "h"},
}  # fmt: skip
"""What makes a request of a freeze dear."""
SHORTENED = {"release": 32, "places": 34}
"""Entries of what may have fifty, so that 10,000 items fit in a batch."""
UNTABLED = "places"
"""Member that a table goes without: with so many its answer would be too long."""
LINES, ARRAY, TABLE = "application/x-ndjson", "application/json", "text/csv"


def flat(tree: dict[str, Any], before: str = "") -> dict[str, str]:
    """Return a request as cells of a table."""
    cells: dict[str, str] = {}
    for name, value in tree.items():
        if isinstance(value, dict) and set(value) == {"value", "unit"}:
            cells[f"{before}{name} [{value['unit']}]"] = str(value["value"])
        elif isinstance(value, dict):
            cells |= flat(value, f"{before}{name}.")
        elif isinstance(value, list):
            cells[f"{before}{name} [json]"] = json.dumps(value)
        else:
            cells[before + name] = str(value).lower() if isinstance(value, bool) else str(value)
    return cells


@dataclass
class Items:
    """``count`` requests of a ``kind``, each with its own name and temperature or volume."""

    count: int
    kind: str = "held"

    @property
    def estimate(self) -> str:
        """The estimate that is asked for."""
        if self.kind == "dearest":
            return costs.dearest().name
        return {"held": "hold-time", "long": "ventilation"}.get(self.kind, self.kind)

    @property
    def request(self) -> dict[str, Any]:
        """The request of which each item is a variant."""
        if self.kind == "held":
            return costs.example(self.estimate) | DEAR
        if self.kind not in {"dearest", "long"}:
            return costs.example(self.estimate)
        tree = costs.dearest().tree if self.kind == "dearest" else costs.dear(self.estimate)[0]
        return tree | {k: tree[k][:most] for k, most in SHORTENED.items() if k in tree}

    def requests(self) -> Iterator[dict[str, Any]]:
        """Yield the requests."""
        request = self.request
        for i in range(self.count):
            yield request | self._varied(request, i) | {"id": f"harbour-lane-baths/{i}"}

    def _varied(self, request: dict[str, Any], i: int) -> dict[str, Any]:
        """Return what item ``i`` alone has; the dearest hardly differ, so that all are dear."""
        if "ambient" in request:
            begun, span = (0.01, 1e-3) if self.kind == "dearest" else (15.0, 10.0)
            warm = {"value": begun + i * span / self.count, "unit": "degC"}
            return {"ambient": {"temperature": warm}}
        if self.kind == "long":
            size = {"value": 60 + i / self.count, "unit": "m3"}
            return {"room": request["room"] | {"volume": size}}
        return {}

    def body(self, form: str) -> bytes:
        """Return all of them as ``form``."""
        if form == TABLE:
            out = io.StringIO(newline="")
            rows = [
                flat({k: v for k, v in r.items() if k != UNTABLED}) | {"estimate": self.estimate}
                for r in self.requests()
            ]
            writer = csv.DictWriter(out, list(rows[0]))
            writer.writeheader()
            writer.writerows(rows)
            return out.getvalue().encode()
        texts = [json.dumps({"estimate": self.estimate, "request": r}) for r in self.requests()]
        return ("\n".join(texts) if form == LINES else f"[{','.join(texts)}]").encode()
