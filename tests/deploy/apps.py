"""A field app on a poor line: it cuts, gives up, asks again, and asks for what it has not got."""

import json
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from random import Random
from typing import Any

from deploy.ledger import Ledger, canonical
from deploy.lines import LINES, NONE, Fault, Reply, Request, ask, fault
from deploy.stack import PATIENCE

REFUSED = {429, 503}
"""Statuses that promise that nothing was computed, and say when to ask again."""
ANSWER = 5000
"""What an item's answer has at least, about [bytes]."""
TROUBLE = 4
"""Of the tries of one request, so many at most meet a fault."""


class App:
    """One app at ``source``, an address of its own; what happens to it is drawn by ``chance``."""

    def __init__(self, port: int, source: str, ledger: Ledger, chance: Random) -> None:
        self.port, self.source, self.ledger, self.chance = port, source, ledger, chance
        self.tally: Counter[str] = Counter()

    def ask(self, request: Request, fault: Fault = NONE) -> Reply:
        """Try once; a refusal is waited out, as it says."""
        reply = ask(self.port, self.source, request, fault, packed=self.chance.random() < 0.5)
        self.tally["requests"] += 1
        self.tally[f"fault: {fault.kind}"] += 1
        self.tally["whole answers" if reply.whole else "cut off"] += 1
        if reply.whole and reply.status in REFUSED:
            self.tally[f"refused {reply.status}"] += 1
            assert reply.heads["Retry-After"], "a refusal says when to ask again"
            time.sleep(float(reply.heads["Retry-After"]))
        return reply

    def settle(self, request: Request, status: int = 200) -> None:
        """Ask through faults, then until the whole answer is there; each one that comes is kept."""
        for _ in range(self.chance.randint(0, TROUBLE)):
            self.keep(request, self.ask(request, fault(self.chance, len(request.sent(False)))),
                      status)  # fmt: skip
        end = time.monotonic() + PATIENCE
        while not self.keep(request, self.ask(request), status):
            assert time.monotonic() < end, f"never answered: {request.name}"

    def twice(self, request: Request) -> None:
        """Send the same at once on two lines, as an app does whose user presses again."""
        with ThreadPoolExecutor(2) as two:
            for reply in two.map(lambda _: ask(self.port, self.source, request, NONE), range(2)):
                self.tally["requests"] += 1
                self.tally["whole answers"] += reply.whole
                self.tally["sent twice"] += 1
                self.keep(request, reply, 200)

    def keep(self, request: Request, reply: Reply, status: int) -> bool:
        """Hold an answer against all others to the same; whether there is one."""
        if not reply.whole or reply.status in REFUSED:
            return False
        assert reply.status == status, (reply.status, reply.body[:2000])
        tree = json.loads(reply.body)
        self.ledger.note(request.path.encode() + request.body, reply.body)
        if request.path == "/v1/batch":
            asked = json.loads(request.body)
            named = [x["request"]["id"] for x in asked]
            assert [x["id"] for x in tree["items"]] == named, "an item is lost"
            for item, answer in zip(asked, tree["items"], strict=True):
                self.item(item, answer)
        elif status == 200:
            asked = json.loads(request.body)
            assert tree["id"] == asked["id"], "the answer to another request"
            self.ledger.note(canonical([request.path, asked]), canonical(tree))
        return True

    def item(self, asked: dict[str, Any], answer: dict[str, Any]) -> None:
        """Hold the answer to an item of a batch against what it alone is answered."""
        assert answer["id"] == asked["request"]["id"], "the answer to another item"
        assert answer["status"] == 200, answer
        name = f"/v1/{asked['estimate']}"
        self.ledger.note(canonical([name, asked["request"]]), canonical(answer["result"]))
        self.tally["items of batches"] += 1

    def resume(self, items: list[dict[str, Any]], name: str) -> None:
        """Ask for ``items`` as lines, and after each try for those alone that are missing."""
        missing = {item["request"]["id"]: item for item in items}
        end = time.monotonic() + PATIENCE
        faults = [self.halved(len(items))]
        faults += [fault(self.chance, 500) for _ in range(self.chance.randrange(TROUBLE))]
        while missing:
            assert time.monotonic() < end, f"never answered: {list(missing)}"
            left = list(missing.values())
            body = b"\n".join(canonical(item) for item in left)
            request = Request("/v1/batch", body, f"{name}-{len(left)}", LINES)
            reply = self.ask(request, faults[0] if faults else NONE)
            if reply.status in REFUSED:
                continue
            faults = faults[1:]
            if not reply.status:
                continue
            assert reply.status == 200, (reply.status, reply.body[:2000])
            found = self.lines(left, reply)
            for one in found:
                del missing[one]
            self.tally["batches resumed"] += bool(missing) and bool(found)

    def halved(self, count: int) -> Fault:
        """A line that ends somewhere in the middle of the answers to ``count`` items."""
        return Fault("reply cut", received=int(count * ANSWER * self.chance.uniform(0.3, 0.9)))

    def lines(self, asked: list[dict[str, Any]], reply: Reply) -> list[str]:
        """Hold each whole line against its item; the ids that were answered."""
        found: list[str] = []
        summary = None
        for line in reply.body.split(b"\n")[:-1]:
            tree = json.loads(line)
            if "summary" in tree:
                summary = tree["summary"]
                continue
            assert tree["index"] == len(found), "a line is missing before this one"
            self.item(asked[tree["index"]], tree)
            found.append(tree["id"])
        assert reply.whole <= (summary is not None), "whole, and without its summary"
        if summary is not None:
            assert summary["complete"]
            assert (summary["total"], summary["failed"]) == (len(asked), 0)
            assert len(found) == len(asked), "an item is lost"
        return found
