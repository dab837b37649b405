"""The tables that `seamtrue whatif` prints."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cli.printing import Lines, say, show_table

if TYPE_CHECKING:
    from vision.inspection.whatif.change import (
        CameraForecast,
        Figure,
        Forecast,
        SeamForecast,
        Sensitivity,
    )
    from vision.units.length_words import LengthWords


def say_outcome(forecast: Forecast, names: list[str], write: LengthWords) -> None:
    """Print a sentence for each turned camera."""
    from vision.documents.forecast_words import outcome

    said = {name: outcome(forecast, name, write) for name in names}
    say(*(f"{name}: {text}" for name, text in said.items() if text), "")


def show_forecast(forecast: Forecast, write: LengthWords) -> None:
    """Print cameras and seams, now and then."""
    from vision.documents.check_words.words import say_check

    rough = write.roughly
    off = "pan off", "tilt off", "roll off deg"
    names = ("camera", "aim then", *off, "marks", rough.head("nearest", "m"))
    cameras = tuple(_camera(each, rough) for each in forecast.cameras)
    show_table(Lines(heads=names, rows=cameras))
    say("gaps: now; with the display kept as it is; with it set again, which is judged", "")
    gaps = (write.head(each, "cm") for each in ("now", "kept", "again"))
    heads = ("seam", "verdict", *gaps, rough.head("overlap", "m"), write.head("moves", "cm"))
    show_table(Lines(heads=heads, rows=tuple(_seam(each, write) for each in forecast.seams)))
    notes = (*map(say_check(write), forecast.notes), write.note("overlap and ground seen"))
    say(*(f"note: {note}" for note in notes if note))


def show_sensitivities(rows: tuple[Sensitivity, ...], write: LengthWords) -> None:
    """Print how far the views of each seam move under each small change."""
    if not rows:
        return
    if not rows[0].moved_m:
        say("no two cameras share a seam: there are no two views that could move apart")
        return
    say(
        f"how far apart the two views of a seam move, {'inches' if write.imperial else 'cm'}, the"
        " display staying as it is:",
        "",
    )
    from vision.documents.forecast_words import change_words

    seams = list(rows[0].moved_m)
    heads = ("if the vehicle or a camera", *(" - ".join(seam) for seam in seams))
    lines = tuple(
        (
            change_words(row.change, write),
            *(write.cell(row.moved_m.get(seam), "cm") for seam in seams),
        )
        for row in rows
    )
    show_table(Lines(heads=heads, rows=lines, words=1, verdicts=False), gap=False)


def _camera(camera: CameraForecast, rough: LengthWords) -> tuple[str, ...]:
    import numpy as np

    off = zip(np.degrees(camera.off_rad), np.degrees(camera.off_sigma_rad), strict=True)
    return (
        camera.name,
        camera.aim,
        *(f"{turn:+.1f} +-{sigma:.1f}" for turn, sigma in off),
        f"{camera.marks_now} > {camera.marks_then}",
        _now_then(rough, camera.nearest_now, camera.nearest_then),
    )


def _seam(seam: SeamForecast, write: LengthWords) -> tuple[str, ...]:
    gaps = seam.now, seam.as_set, seam.set_anew
    return (
        " - ".join(seam.between),
        seam.set_anew.verdict,
        *(write.cell(gap.value_m, "cm", gap.sigma_m) for gap in gaps),
        _now_then(write.roughly, seam.overlap_now, seam.overlap_then),
        write.cell(seam.moved_m, "cm"),
    )


def _now_then(write: LengthWords, now: Figure, then: Figure) -> str:
    return f"{write.cell(now.value_m, 'm')} > {write.cell(then.value_m, 'm')}"
