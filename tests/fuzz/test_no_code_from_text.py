"""No text becomes code, and nothing foreign is unpickled: read from the syntax tree of every file of the package.

A cluster's worker unpickles what its own client sent, and the journal and results are text; so the one place where a
pickle is read is named here.
"""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "simulator"
CODE = {"eval", "exec", "compile", "__import__", "execfile"}
"""Built-in functions that make code of text."""
SERIALISERS = {
    "pickle",
    "cPickle",
    "_pickle",
    "marshal",
    "shelve",
    "dill",
    "cloudpickle",
    "joblib",
    "jsonpickle",
    "yaml",
}
"""Modules whose readers run code that the bytes name."""
READERS = {"load", "loads", "Unpickler", "open", "read_pickle"}
SHELLS = {("os", "system"), ("os", "popen"), ("pd", "read_pickle"), ("pandas", "read_pickle"), ("pd", "eval")}
ALLOWED = {
    # a worker of the same run reads the plans that its own client packed
    "experiment/workers.py": {"pickle.loads"},
    "experiment/replicate.py": {"pickle.loads"},
}


def dangers(source):
    """Return what in a source text could run what a file says, as (line, what)."""
    found = []
    tree = ast.parse(source)
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] in SERIALISERS:
            found += [(node.lineno, f"{node.module}.{name.name}") for name in node.names if name.name in READERS]
        if not isinstance(node, ast.Call):
            continue
        called = node.func
        if isinstance(called, ast.Name) and called.id in CODE:
            found.append((node.lineno, called.id))
        if isinstance(called, ast.Attribute) and isinstance(called.value, ast.Name):
            pair = (called.value.id, called.attr)
            if (pair[0] in SERIALISERS and pair[1] in READERS) or pair in SHELLS or pair == ("builtins", "exec"):
                found.append((node.lineno, ".".join(pair)))
        for keyword in node.keywords:
            unsafe = isinstance(keyword.value, ast.Constant) and keyword.value.value is True
            if keyword.arg in ("allow_pickle", "shell") and unsafe:
                found.append((node.lineno, f"{keyword.arg}=True"))
        name = called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")
        # by a constant, or by a table of the package's own
        if name == "import_module" and not (node.args and isinstance(node.args[0], ast.Constant | ast.Subscript)):
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
        "from pickle import loads",
        "from pickle import Unpickler as U",
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
