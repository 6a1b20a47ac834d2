"""No text becomes code, and nothing foreign is unpickled: read from the syntax tree of every file of the package.

A cluster's worker unpickles what its own client sent, and the journal and results are text; so the one place where a
pickle is read is named here.
"""

import ast
import re
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "simulator"
DANGERS = re.compile(
    r"(builtins\.)?(eval|exec|execfile|compile|__import__)|os\.(system|popen)|pandas\.(read_pickle|eval)"
    r"|(pickle|cPickle|_pickle|marshal|shelve|dill|cloudpickle|joblib|jsonpickle|yaml)\.(load|loads|open|Unpickler)"
)
"""What makes code of text, or runs code that bytes name."""
# a worker of the same run reads the plans that its own client packed
ALLOWED = {
    "experiment/workers.py": {"pickle.loads"},
    "experiment/replicate.py": {"pickle.loads"},
    # of the commands that stand in a table
    "cli.py": {"import_module of a name that is worked out"},
    "command/study.py": {"import_module of a name that is worked out"},
}


def dangers(source):
    """Return what in a source text could run what a file says, as (line, what)."""
    tree, found = ast.parse(source), []
    nodes = list(ast.walk(tree))
    whole = {}  # name in this file to what it stands for
    for node in nodes:
        if isinstance(node, ast.Import):
            whole |= {alias.asname: alias.name for alias in node.names if alias.asname}
        elif isinstance(node, ast.ImportFrom):
            whole |= {alias.asname or alias.name: f"{node.module}.{alias.name}" for alias in node.names}
    for node in nodes:
        if not isinstance(node, ast.Call):
            continue
        first, *rest = ast.unparse(node.func).split(".")
        called = ".".join([whole.get(first, first), *rest])
        if DANGERS.fullmatch(called):
            found.append((node.lineno, called))
        for keyword in node.keywords:
            if keyword.arg in ("allow_pickle", "shell") and ast.unparse(keyword.value) == "True":
                found.append((node.lineno, f"{keyword.arg}=True"))
        # by a constant, or by a table of the package's own
        known = node.args and isinstance(node.args[0], ast.Constant | ast.Subscript)
        if called.endswith("import_module") and not known:
            found.append((node.lineno, "import_module of a name that is worked out"))
    return found


@pytest.mark.parametrize(
    "source",
    [
        "eval(text)",
        "x = exec(text)",
        "compile(text, '', 'exec')",
        "__import__(name)",
        "import pickle\npickle.loads(data)",
        "from pickle import loads\nloads(data)",
        "from pickle import Unpickler as U\nU(handle).load()",
        "import marshal\nmarshal.load(handle)",
        "import yaml\nyaml.load(text)",
        "import numpy as np\nnp.load(path, allow_pickle=True)",
        "import pandas as pd\npd.read_pickle(path)",
        "import pandas as pd\npd.eval(text)",
        "import subprocess\nsubprocess.run(text, shell=True)",
        "import os\nos.system(text)",
        "import importlib\nimportlib.import_module(name)",
        "from importlib import import_module\nimport_module(f'x.{name}')",
    ],
)
def test_each_danger_would_be_seen(source):
    assert dangers(source)


@pytest.mark.parametrize("source", ["re.compile(text)", "pickle.dumps(x)", "json.loads(text)", "np.load(path)"])
def test_what_only_looks_alike_is_none(source):
    assert not dangers(source)


def test_no_code_is_made_from_text_and_no_foreign_pickle_is_read():
    files = sorted(PACKAGE.rglob("*.py"))
    assert len(files) > 100
    found = [
        f"{name}:{line}: {what}"
        for path in files
        for name in [path.relative_to(PACKAGE).as_posix()]
        for line, what in dangers(path.read_text(encoding="utf-8"))
        if what not in ALLOWED.get(name, set())
    ]
    assert not found, "\n".join(found)


def test_templates_escape_what_they_show():
    """A name of a scenario must not become markup of a report; every environment of templates escapes by itself."""
    made = [
        node
        for path in sorted(PACKAGE.rglob("*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
        and (getattr(node.func, "id", None) == "Environment" or getattr(node.func, "attr", None) == "Environment")
        and any(keyword.arg in ("autoescape", "loader", "undefined") for keyword in node.keywords)
    ]
    assert made
    for node in made:
        escape = [keyword.value for keyword in node.keywords if keyword.arg == "autoescape"]
        assert escape, f"line {node.lineno}"
        assert not (isinstance(escape[0], ast.Constant) and escape[0].value is False), f"line {node.lineno}"
