"""What ``run`` and ``compare`` do once their options are read: simulate, write the result folder, print the answer."""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from simulator.clean import steer
from simulator.command.common import Progress, load, note, refuse_existing, terminal_width, use_color, write_json
from simulator.errors import InputError
from simulator.scenario.loading import LoadedScenario

if TYPE_CHECKING:
    from simulator.experiment.cluster import Certificates
    from simulator.experiment.result import Result
    from simulator.experiment.run_store import RunStore


_KEPT = "no result is written, but every finished run is kept: free space there, then go on with --resume"
_NOTHING = "acreday: stopped; no run had finished"


@dataclass(frozen=True)
class Request:
    """Options of ``run`` and ``compare``, by the names that the command line gives them."""

    scenario: str
    settings: tuple[str, ...]
    fields: str | None
    runs: int | None
    precision: float | None
    precise: Literal["mean", "p10", "difference"]
    budget_s: float | None
    seed: int | None
    workers: int
    scheduler: str | None
    tls_ca: str | None
    tls_cert: str | None
    tls_key: str | None
    out: str | None
    force: bool
    resume: bool
    json_file: str | None
    quiet: bool
    one_more_runs: int = 0

    def certificates(self) -> Certificates | None:
        """Return the certificates that were named: all of them or none."""
        if self.tls_ca is None and self.tls_cert is None and self.tls_key is None:
            return None
        if self.tls_ca is None or self.tls_cert is None or self.tls_key is None:
            raise InputError.single("all three are needed for tls://", "--tls-ca, --tls-cert, --tls-key")
        from simulator.experiment.cluster import Certificates

        return Certificates(self.tls_ca, self.tls_cert, self.tls_key)

    def same_run(self, loaded: LoadedScenario) -> dict[str, Any] | None:
        """Return what the manifest of this command's own older result says, which may be replaced by going on."""
        seed = loaded.base.seed if self.seed is None else self.seed
        return {"scenario_sha256": loaded.digest(), "seed": seed} if self.resume else None


def _check_fewer(target: Path, request: Request, result: Result) -> None:
    """Refuse to replace an older result of this scenario by one of fewer runs, unless forced."""
    from simulator.report.own_files import own_manifest

    older = (own_manifest(target) or {}).get("runs")
    runs = {entry.name: entry.runs for entry in result.sets}
    if request.resume and not request.force and isinstance(older, dict) and older.keys() == runs.keys():
        most = max((count for count in older.values() if isinstance(count, int)), default=0)
        if most > max(runs.values()):
            message = f"holds a result of {most} runs of each set; give more --runs, --force to replace it, or another"
            raise InputError.single(f"{message} --out: every finished run is kept", "--out", str(target))


def unfinished_file(target: Path, resume: bool) -> Path:
    """Return the database that keeps finished runs of a folder: a hidden sibling."""
    # beside what a link leads to, so that no two ways to a folder let two runs in
    real = target.resolve()
    path = real.parent / f".{real.name}.unfinished"
    if resume and not path.exists():
        message = "no unfinished result is there, so nothing is changed; leave out --resume to begin one"
        raise InputError.single(message, "--out", str(target))
    try:
        real.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError.single(f"cannot be used: {error.strerror or error}", "--out", str(path)) from error
    return path


def _refuse_unfinished(store: RunStore, target: Path, request: Request) -> None:
    """Refuse to begin where finished runs of the same scenario lie."""
    count = store.count
    if count and not request.resume and not request.force:
        message = (
            f"an unfinished result of {count} runs is there; give --resume to go on with it, or --force to drop it"
        )
        raise InputError.single(message, "--out", str(target))


def only_sets(loaded: LoadedScenario, names: tuple[str, ...], least: int) -> LoadedScenario:
    """Return the scenario with the named sets only."""
    chosen = tuple(loaded.equipment_set(name) for name in dict.fromkeys(names)) if names else loaded.sets
    if len(chosen) < least:
        have = ", ".join(entry.name for entry in loaded.sets)
        raise InputError.single(
            f"got {len(chosen)} equipment set; allowed is at least {least} (the scenario has {have})"
        )
    return LoadedScenario(loaded.name, chosen, loaded.folder, loaded.file)


def run_and_report(request: Request, sets: tuple[str, ...] = (), least_sets: int = 1, suffix: str = "") -> None:
    """Run a scenario, write its result folder and print the answer."""
    from simulator.report.folder import ResultFolder, check_target

    begun = time.monotonic()
    if not 0 <= request.one_more_runs <= 100_000:
        raise InputError.single(f"got {request.one_more_runs}; allowed is 0 to 100000", "--one-more-runs")
    progress = Progress(request.quiet)
    progress("reading", 0, 1)
    loaded = only_sets(load(request.scenario, request.settings, fields=request.fields), sets, least_sets)
    alike = [a.name for a, b in pairwise(loaded.sets) if a.resolved == b.resolved]
    if alike and request.settings:
        note("acreday: with --set some equipment sets are the same, for it is laid over every set", request.quiet)
    target = Path(request.out) if request.out is not None else Path("reports") / f"{loaded.name}{suffix}"
    refuse_existing(request.json_file, request.force, request.scenario)
    check_target(target, request.force, request.same_run(loaded))
    path = unfinished_file(target, request.resume)
    from simulator.experiment.disk import sync_folder
    from simulator.experiment.run import Options, open_store, run
    from simulator.report.result_folder import result_document, write_result_folder

    certificates, finished = request.certificates(), False
    # held until the folder is written, so that no other run comes between
    store = open_store(loaded, path, request.seed, fresh=request.force and not request.resume)
    try:
        _refuse_unfinished(store, target, request)
        options = Options(
            request.runs, request.seed, request.workers, request.precision, request.precise, request.one_more_runs,
            request.scheduler, request.budget_s, store, certificates,
        )  # fmt: skip
        try:
            result = run(loaded, options, progress)
        finally:
            progress.end()
        if result.resumed:
            note(f"acreday: went on with an unfinished result: {result.resumed}")
        document = result_document(loaded, result)
        if not request.quiet and request.json_file != "-":
            from simulator.report.text import result_table

            steer(result_table(document, terminal_width(), use_color()) + "\n", sys.stdout)
        _check_fewer(target, request, result)
        with ResultFolder(target, request.force, request.same_run(loaded), _KEPT) as folder:
            inputs = write_result_folder(loaded, result, document, folder, begun, progress)
        progress.end()
        if inputs:
            note("copied into the result: " + ", ".join(f"{path} as {name}" for path, name in inputs.items()))
        # its name must be on the disk before the runs that it was made of go
        sync_folder(target.resolve().parent)
        if request.json_file is not None:
            write_json(document, request.json_file)
        # what time cut short may go on, too, and runs beyond those asked for may be wanted later
        cut_short = result.stopped.startswith(("interrupted", "the time was over"))
        finished = not cut_short and result.beyond <= 0
        store.close(remove=finished)
    except KeyboardInterrupt:
        progress.end()
        kept = store.count
        note(f"acreday: stopped; {kept} finished runs are kept, go on with --resume" if kept else _NOTHING)
        sys.exit(130)
    finally:
        store.close(remove=finished or store.count == 0)
    note(f"results: {target}", request.quiet)
    if not cut_short and result.beyond > 0:
        note(f"acreday: {result.beyond} more finished runs are kept; --resume with a larger --runs takes them in")
    if result.stopped:
        note(f"acreday: {result.stopped}" + ("; go on with --resume" if path.exists() else ""))
    if result.stopped.startswith("interrupted"):
        sys.exit(130)
