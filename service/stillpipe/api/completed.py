"""What the description is given from the code when it is served, so that it is said in one place.

Members without a sentence of their own get the one that they are declared with, estimates the
parameters ``fields`` and ``include`` with the names that there are, catalogues their filters.
Answers and refusals get an example: what the service answered when it was last asked.
"""

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, get_args, get_type_hints

import orjson

from stillpipe.api import catalogues
from stillpipe.api.registry import ENDPOINTS, REQUESTS
from stillpipe.model.declare import members

Tree = dict[str, Any]

REPLIES = ("estimates", "batches", "pages")
"""Files of answers, by address and media type."""
MOST = 50
"""Names in one list."""
ALTERNATIVES = ("oneOf", "anyOf", "allOf")
SHAPES = {
    "value": "The number, in `unit` where there is one.",
    "unit": "The unit of the numbers beside it.",
    "values": "The numbers, in `unit`, each at the place of its like in the series beside it.",
    "default": "true where the caller left it to the service.",
    "low": "5th percentile.",
    "likely": "Median.",
    "high": "95th percentile; null where it never comes to that.",
    "percentiles": "Where `percentiles` asks for them.",
    "probability": "Probability of the percentile, as it was asked for.",
}
"""Members of figures, ranges, series and echoed inputs."""
HEAD = {
    "id": "`id` of the request, where it has one.",
    "model_version": "Version of the model: it changes whenever a figure may change.",
    "units": "Units of the answer.",
    "inputs": "Every input as it was used, with what was left to the service marked.",
    "verdict": "`no-go` where a reason stops the job, `conditional` where one warns, else `go`.",
    "reasons": "Why the verdict is what it is.",
    "cautions": "What to mind in any case, each code once.",
}
"""What every reply begins with."""
FIELDS = (
    "Members that the reply is to have, with commas between (or each in a `fields` of its own); "
    "`ready.likely` is a member of a member, of every entry where that is a list, and keeps its "
    "`unit`. `id`, `model_version`, `units`, `verdict`, `reasons` and `cautions` are always there; "
    "all else is left out, required or not. A name that there is not gets 422. JSON and tables "
    "only."
)
OF_ITEMS = " Of items of another kind, which have no such member, it leaves nothing."
INCLUDE = "Members that the reply has besides, and only then, with commas between. JSON only."
CODES = (
    "`codes`: the cautions of an item are their codes alone, and the summary has each of them once "
    "with its text. The verdict and its reasons stay whole. In a table they are codes in any case."
)


def complete(tree: Tree) -> Tree:
    """Give the description ``tree`` what the code says; return it."""
    schemas = tree.get("components", {}).get("schemas", {})
    for name, endpoint in ENDPOINTS.items():
        posts = _posts(tree, f"/v1/{name}")
        if not posts:
            continue
        post = posts[0]
        asked = post["requestBody"]["content"]["application/json"]["schema"]
        answered = post["responses"]["200"]["content"]["application/json"]["schema"]
        figures = get_args(get_type_hints(endpoint.estimate)["return"])
        _say(asked, (endpoint.request,), schemas)
        _say(answered, figures, schemas)
        for member, part in _members(answered, schemas).items():
            if member in HEAD and not _said(part, schemas):
                part["description"] = HEAD[member]
            if member == "inputs":
                _say(part, (endpoint.request,), schemas)
        known = names(answered, schemas)
        for each in posts:
            chosen = [_listed("fields", FIELDS, known)]
            if endpoint.on_request:
                chosen.append(_listed("include", INCLUDE, endpoint.on_request))
            each.setdefault("parameters", []).extend(chosen)
    _say(schemas.get("Inputs", {}), REQUESTS, schemas)
    _shapes(tree)
    _of_batches(tree)
    _of_catalogues(tree["paths"])
    return tree


def show(tree: Tree, folder: Path) -> Tree:
    """Give the answers and refusals of the description ``tree`` the examples in ``folder``."""
    for file in REPLIES:
        for path, answers in orjson.loads((folder / f"{file}.json").read_bytes()).items():
            for operation in tree["paths"].get(path, {}).values():
                content = operation["responses"]["200"]["content"]
                for kind, answer in answers.items():
                    content[kind]["example"] = answer
    told = orjson.loads((folder / "problems.json").read_bytes())
    for name, response in tree.get("components", {}).get("responses", {}).items():
        if "content" in response:
            response["content"]["application/problem+json"]["example"] = told[name]
    return tree


def names(schema: Tree, schemas: Tree) -> list[str]:
    """Return the members of a reply, and those of its members with a dot between."""
    found = _members(schema, schemas)
    inner = {name: _members(part, schemas) for name, part in found.items()}
    return [*found, *(f"{name}.{part}" for name, parts in inner.items() for part in parts)]


def _members(schema: Tree, schemas: Tree) -> dict[str, Tree]:
    """Return the members of an object, or of a list's entries, in whichever form it comes."""
    return {name: part for each in _objects(schema, schemas) for name, part in each.items()}


def _objects(schema: Tree, schemas: Tree) -> Iterator[dict[str, Tree]]:
    """Yield the members of an object in each of its forms, of the entries where it is a list."""
    if "$ref" in schema:
        schema = schemas[schema["$ref"].rpartition("/")[2]]
    yield schema.get("properties", {})
    for part in [p for key in ALTERNATIVES for p in schema.get(key, ())]:
        yield from _objects(part, schemas)
    if "items" in schema:
        yield from _objects(schema["items"], schemas)


def _say(schema: Tree, declared: Iterable[type[Any]], schemas: Tree) -> None:
    """Give the members of an object, and theirs, the sentences of the dataclasses ``declared``."""
    known = {
        name: member for each in reversed(tuple(declared)) for name, member in members(each).items()
    }
    parts = [(known[n], p) for o in _objects(schema, schemas) for n, p in o.items() if n in known]
    for member, part in parts:
        if not _said(part, schemas):
            part["description"] = member.declaration.says
        _say(part, member.groups, schemas)


def _said(schema: Tree, schemas: Tree) -> bool:
    """Return whether a schema, or what it refers to, has a sentence."""
    while "description" not in schema and "$ref" in schema:
        schema = schemas[schema["$ref"].rpartition("/")[2]]
    return "description" in schema


def _shapes(node: Any) -> None:
    """Give the members of figures, ranges, series and echoed inputs their sentences."""
    if isinstance(node, list):
        for part in node:
            _shapes(part)
    elif isinstance(node, dict):
        properties = node.get("properties")
        if isinstance(properties, dict) and set(properties) <= set(SHAPES):
            for name, part in properties.items():
                part.setdefault("description", SHAPES[name])
        for part in node.values():
            _shapes(part)


def _posts(tree: Tree, address: str) -> list[Tree]:
    """Return the operations of an address and of those below it, which take other forms."""
    below = [p for p in tree["paths"] if p == address or p.startswith(f"{address}/")]
    return [tree["paths"][p]["post"] for p in below if "post" in tree["paths"][p]]


def _listed(name: str, says: str, choices: Iterable[str]) -> Tree:
    """Return a parameter that is a list of names with commas between."""
    items = {"type": "string", "enum": list(choices)}
    schema = {"type": "array", "minItems": 1, "maxItems": MOST, "items": items}
    return {
        "name": name, "in": "query", "required": False, "description": says,
        "style": "form", "explode": False, "schema": schema,
    }  # fmt: skip


def _of_batches(tree: Tree) -> None:
    """Give a batch the parameters of its items."""
    posts = _posts(tree, "/v1/batch")
    if not posts:
        return
    schemas = tree["components"]["schemas"]
    known: dict[str, None] = {}
    for name in ENDPOINTS:
        reply = tree["paths"][f"/v1/{name}"]["post"]["responses"]["200"]["content"]
        known |= dict.fromkeys(names(reply["application/json"]["schema"], schemas))
    extra = sorted({member for e in ENDPOINTS.values() for member in e.on_request})
    codes = {"type": "string", "enum": ["codes"]}
    cautions = {
        "name": "cautions", "in": "query", "required": False, "description": CODES, "schema": codes,
    }  # fmt: skip
    taken = {
        "ItemFields": _listed("fields", FIELDS + OF_ITEMS, known),
        "ItemInclude": _listed("include", INCLUDE, extra),
        "ItemCautions": cautions,
    }
    tree["components"].setdefault("parameters", {}).update(taken)
    for post in posts:
        post["parameters"] = [{"$ref": f"#/components/parameters/{name}"} for name in taken]
    schemas["BatchItem"]["properties"]["estimate"]["enum"] = list(ENDPOINTS)


def _of_catalogues(paths: Tree) -> None:
    """Give catalogues the parameters by which their items are chosen."""
    for name, filters in catalogues.FILTERS.items():
        get = paths.get(f"/v1/{name}", {}).get("get")
        if get is not None:
            get["parameters"] = [
                {
                    "name": member, "in": "query", "required": False,
                    "description": "Only items that have this; a value that none has gets 422.",
                    "schema": {"type": "string", "enum": catalogues.choices(name, member)},
                }
                for member in filters
            ]  # fmt: skip
