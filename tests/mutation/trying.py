"""The mutants of one module: ``python tests/mutation/trying.py MODULE PATH SAMPLE``.

In the folder that ``mutants.py`` prepares. Faults are those of ``OPERATORS``. Not mutated: message
texts (strings with a blank, and f-strings with all in them), the guard ``strict`` of ``zip``, and
what mutmut passes over: constants of a module, annotations, decorated functions (properties,
compiled kernels). ``equivalent.csv``
lists survivors that no test can tell from the module, with the reason: they are counted apart.
"""

import csv
import random
import re
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import libcst
import pytest
from mutmut import __main__ as mutmut
from mutmut.mutation import diff_apply, file_mutation, mutators
from mutmut.mutation.data import SourceFileMutationData
from mutmut.stats import status_by_exit_code
from mutmut.utils.format_utils import get_mutant_name

HERE = Path(__file__).parent
SEED = 20_261_127
CODE = re.compile(r"""["'][\w.-]+["']""")
"""A string that is a code or a name, not a text."""


def codes(node: libcst.BaseString) -> Iterator[libcst.BaseString]:
    """Yield a code with something before it; a text is left alone."""
    if isinstance(node, libcst.SimpleString) and CODE.fullmatch(node.value):
        yield node.with_changes(value=f"{node.value[0]}XX{node.value[1:]}")


def is_guard(argument: libcst.Arg) -> bool:
    """Tell whether an argument is ``strict``, which only guards and stays."""
    return argument.keyword is not None and argument.keyword.value == "strict"


def arguments(node: libcst.Call) -> Iterator[libcst.Call]:
    """Yield a call with an argument None or left out, but for guards."""
    guards = [a for a in node.args if is_guard(a)]
    rest = node.with_changes(args=[a for a in node.args if a not in guards])
    for changed in mutators.operator_arg_removal(rest):
        yield changed.with_changes(args=[*changed.args, *guards])


OPERATORS = [
    (libcst.BaseNumber, mutators.operator_number),
    (libcst.BaseString, codes),
    (libcst.Name, mutators.operator_name),
    (libcst.Assign, mutators.operator_assignment),
    (libcst.AnnAssign, mutators.operator_assignment),
    (libcst.AugAssign, mutators.operator_augmented_assignment),
    (libcst.UnaryOperation, mutators.operator_remove_unary_ops),
    (libcst.Call, mutators.operator_dict_arguments),
    (libcst.Call, arguments),
    (libcst.Lambda, mutators.operator_lambda),
    (libcst.CSTNode, mutators.operator_keywords),
    (libcst.CSTNode, mutators.operator_swap_op),
    (libcst.IfExp, mutators.operator_if_exp),
]
"""What is changed: a number to one more, True and False, an assigned value to None, an argument to
None or left out, ``not`` and other words, arithmetic and comparison, each arm of a conditional
expression to both."""


class Visitor(file_mutation.MutationVisitor):
    """What finds the places to mutate, but for message texts (f-strings) and guards."""

    def on_visit(self, node: libcst.CSTNode) -> bool:
        """Tell whether a node and what lies in it may be mutated."""
        guard = isinstance(node, libcst.Arg) and is_guard(node)
        text = isinstance(node, libcst.FormattedString)
        return not text and not guard and super().on_visit(node)


def equivalent(module: str) -> Counter[tuple[str, str]]:
    """How often each change of a module makes no difference: (was, becomes)."""
    with (HERE / "equivalent.csv").open() as file:
        rows = [r for r in csv.DictReader(file) if r["module"] == module]
    return Counter({(r["was"], r["becomes"]): int(r["times"]) for r in rows})


def change(name: str, path: Path) -> tuple[str, str]:
    """Return the lines that a mutant takes away and those that it puts there."""
    diff = diff_apply.get_diff_for_mutant(name, path=path).splitlines()[2:]
    gone = " ".join(line[1:].strip() for line in diff if line.startswith("-"))
    come = " ".join(line[1:].strip() for line in diff if line.startswith("+"))
    return gone, come


def function(name: str) -> str:
    """Return the function that a mutant is of, as mutmut calls it."""
    return name.rpartition(".")[2].partition("__mutmut_")[0]


def chosen(path: Path, sample: int) -> tuple[list[str], list[str]]:
    """Return the mutants to judge, and those of them that have not been killed already."""
    made = file_mutation.mutate_file_contents(str(path), path.read_text())
    names = [get_mutant_name(path, name) for name in made.mutant_names]
    if sample and sample < len(names):
        names = sorted(random.Random(SEED).sample(names, sample))
    known = SourceFileMutationData(path=path)
    known.load()
    old, new = known.hash_by_function_name, made.hash_by_function_name
    killed = {
        name for name, code in known.exit_code_by_key.items()
        if status_by_exit_code[code] == "killed" and old.get(function(name)) == new[function(name)]
    }  # fmt: skip
    return names, [name for name in names if name not in killed]


def told(module: str, path: Path, names: list[str]) -> None:
    """Print what survived with its change, and how many of the mutants were killed."""
    found = SourceFileMutationData(path=path)
    found.load()
    same, counts = equivalent(module), Counter[str]()
    for name in names:
        status = status_by_exit_code[found.exit_code_by_key[name]]
        if status != "killed":
            changed = change(name, path)
            if status == "survived" and same[changed] > 0:
                same[changed] -= 1
                status = "equivalent"
            else:
                print(f"{status}: {name}\n  - {changed[0]}\n  + {changed[1]}")
        counts[status] += 1
    told = ", ".join(f"{count} {status}" for status, count in sorted(counts.items()))
    print(f"== {module}: {told}; {len(names)} tried of {len(found.exit_code_by_key)}", flush=True)


def main(module: str, path: Path, sample: int) -> None:
    """Try the mutants of a ``module`` at ``path``, or a ``sample`` of them, 0 for all."""
    Path("mutants/mutmut-stats.json").unlink(missing_ok=True)
    file_mutation.mutation_operators = OPERATORS
    pytest.Item._nodeid = property(lambda item: item.nodeid)  # mutmut's name for it
    file_mutation.MutationVisitor = Visitor
    names, left = chosen(path, sample)
    if left:
        mutmut._run(left, 1)
    told(module, path, names)


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]))
