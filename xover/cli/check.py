"""xover check: is what I typed and measured sound?"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from xover.cli.options import Json, SpeakerPath, Strict
from xover.cli.show import show_heading, show_item, show_json, show_table, show_text

if TYPE_CHECKING:
    from xover.driver.fit import DriverFit
    from xover.studies.desk.check.study import CheckStudy


def check(speaker: SpeakerPath, strict: Strict = False, as_json: Json = False) -> int:
    """Is what I typed and measured sound?

    Reads every file of the folder and lists what is wrong or doubtful, the gravest first. With --strict the
    exit status is 1 if something forbids switching on.

    Example: xover check examples/attic-two-way/left
    """
    from xover.speaker import open_speaker
    from xover.studies.desk.check.study import study_check

    result = study_check(open_speaker(speaker))
    if as_json:
        show_json(result)
    else:
        _show(result)
    return 1 if strict and result.stops else 0


_WORDS = {
    "stop": "STOP: mend this before you switch anything on",
    "caution": "Warnings: a result is wrong or doubtful until this is mended or explained",
    "note": "Notes",
}


def _show(result: CheckStudy) -> None:
    show_heading(f"{result.title}: {len(result.fits)} drivers, networks {', '.join(result.networks) or 'none'}")
    rows = []
    for name, fit in result.fits.items():
        sheet = result.sheets.get(name)
        if fit is None and sheet is not None:
            values = [f"{sheet.re_ohm:.2f}", f"{sheet.fs_hz:.0f}"]
            rows.append([name, *values, *(f"{q:.2f}" for q in (sheet.qms, sheet.qes, sheet.qts)), "datasheet"])
            continue
        if fit is None:
            rows.append([name, "-", "-", "-", "-", "-", "no model"])
            continue
        rows.append(
            [
                name,
                f"{fit.model.re_ohm:.2f}",
                *(f"{v:.0f}" if k == "fs" else f"{v:.2f}" if math.isfinite(v) else "-" for k, v in _values(fit)),
                f"{100 * fit.relative_rms:.1f} %",
            ]
        )
    show_table(["driver", "Re ohm", "fs Hz", "Qms", "Qes", "Qts", "fit misses by"], rows)
    measured = [f for f in result.fits.values() if f is not None]
    if measured:
        show_text(measured[0].mounting_note + ".")
    if not result.findings:
        show_heading("Nothing to report: files, drivers, networks and amplifier agree.")
    for severity in _WORDS:
        found = [f for f in result.findings if f.severity == severity]
        if not found:
            continue
        show_heading(_WORDS[severity])
        for finding in found:
            show_item(finding.where, finding.text, 16)
            show_item("", f"-> {finding.remedy}", 16)


def _values(fit: DriverFit) -> list[tuple[str, float]]:
    return [("fs", fit.fs_hz), ("qms", fit.qms), ("qes", fit.qes), ("qts", fit.qts)]
