"""No text becomes code, nothing foreign is unpickled, and templates escape what they show, in any file of the package.

A cluster's worker unpickles what its own client sent, and the journal and results are text; so the one place where a
pickle is read is named here.
"""

import re
import subprocess
import sys
from pathlib import Path

PACKAGE = Path(__file__).parents[2] / "simulator"
RULES = "S102,S301,S302,S307,S506,S602,S604,S605,S701"
"""Of ruff: code of text, pickles and their like, shells, templates that do not escape."""
MORE = re.compile(
    r'(?<![.\w])(?:compile|__import__)\(|allow_pickle=True|\b(?:pd|pandas)\.eval\(|import_module\((?!"|_)'
)
"""What no rule knows; modules are imported by name or of a table of the package's own."""
# a worker of the same run reads the plans that its own client packed; commands and studies stand in tables; the tests
# name their check of every run in the environment
ALLOWED = {"experiment/cluster.py": 1, "experiment/runs.py": 1, "cli.py": 1, "command/study.py": 1}


def dangers(folder):
    """Return how many lines of each file below a folder could run what a text or a file says."""
    check = [
        sys.executable,
        "-m",
        "ruff",
        "check",
        "--isolated",
        "--no-cache",
        "--output-format",
        "concise",
        "--select",
        RULES,
        ".",
    ]
    told = subprocess.run(check, cwd=folder, capture_output=True, text=True, check=False).stdout
    found = [line.split(":")[0] for line in told.splitlines() if re.match(r"\S+:\d+:\d+: S\d", line)]
    for path in folder.rglob("*.py"):
        found += [path.relative_to(folder).as_posix()] * len(MORE.findall(path.read_text(encoding="utf-8")))
    return {name: found.count(name) for name in found}


DANGERS = [
    "eval(text)", "x = exec(text)", "compile(text, '', 'exec')", "__import__(name)",
    "import pickle\npickle.loads(data)", "from pickle import loads\nloads(data)",
    "from pickle import Unpickler as U\nU(handle).load()",
    "import marshal\nmarshal.load(handle)", "import yaml\nyaml.load(text)",
    "import numpy as np\nnp.load(path, allow_pickle=True)", "import pandas as pd\npd.read_pickle(path)",
    "import pandas as pd\npd.eval(text)", "import subprocess\nsubprocess.run(text, shell=True)",
    "import os\nos.system(text)", "import importlib\nimportlib.import_module(name)",
    "from importlib import import_module\nimport_module(f'x.{name}')",
    "import jinja2\njinja2.Environment(loader=files)", "import jinja2\njinja2.Environment(loader=x, autoescape=False)",
]  # fmt: skip
ALIKE = ["re.compile(text)", "pickle.dumps(x)", "json.loads(text)", "np.load(path)", 'import_module("x.y")']


def test_each_danger_would_be_seen_and_what_only_looks_alike_is_none(tmp_path):
    for number, source in enumerate([*DANGERS, *ALIKE]):
        (tmp_path / f"{number}.py").write_text(f"{source}\n")
    assert dangers(tmp_path) == {f"{number}.py": 1 for number in range(len(DANGERS))}


def test_no_code_is_made_from_text_and_no_foreign_pickle_is_read():
    assert dangers(PACKAGE) == ALLOWED
