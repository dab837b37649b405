"""A fleet on one page, and as a table: for whoever has many vehicles to look after."""

from __future__ import annotations

import csv
import io

from vision.comparison.fleet import Drift, Fleet, FleetVehicle
from vision.documents.cautions import CAUTION
from vision.documents.summary import plain_cell
from vision.documents.templates import written_page

COLUMNS = ("vehicle", "name", "verdict", "checked", "due", "drifts", "first_to_do", "source")


def fleet_rows(fleet: Fleet) -> tuple[tuple[str, ...], ...]:
    """Vehicle, verdict, day of its last check, when it is due again, what drifts, what to do."""
    return tuple(
        (
            each.last.vehicle,
            each.last.verdict,
            each.last.day.isoformat(),
            due_words(fleet, each),
            "; ".join(map(drift_words, each.drifts)),
            each.last.to_do,
        )
        for each in fleet.vehicles
    )


def fleet_csv(fleet: Fleet) -> str:
    """A row for each vehicle under its heads."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(COLUMNS)
    for each, row in zip(fleet.vehicles, fleet_rows(fleet), strict=True):
        due = "" if each.due is None else each.due.isoformat()
        cells = (row[0], each.last.name, row[1], row[2], due, row[4], row[5], each.last.source)
        table.writerow(map(plain_cell, cells))
    return out.getvalue()


def fleet_lines(fleet: Fleet) -> list[str]:
    """How many of each verdict, which camera place fails most, and how many are due."""
    counts = ", ".join(f"{n} {word}" for word, n in sorted(fleet.verdicts.items()))
    lines = [f"{len(fleet.vehicles)} vehicles by {fleet.checks} checks: {counts}"]
    lines += [
        f"{place.camera}: {place.failed} of {place.vehicles} not keep"
        for place in fleet.places
        if place.failed
    ][:1]
    if fleet.due:
        lines.append(f"to check again: {len(fleet.due)}, first {fleet.due[0].last.vehicle}")
    return lines


def fleet_page(fleet: Fleet, made_on: str) -> str:
    """The page, self-contained."""
    rows = [
        {"vehicle": each, "cells": row}
        for each, row in zip(fleet.vehicles, fleet_rows(fleet), strict=True)
    ]
    return written_page(
        "fleet_page.html.j2",
        fleet=fleet,
        rows=rows,
        lines=fleet_lines(fleet),
        caution=CAUTION,
        made_on=made_on,
    )


def drift_words(drift: Drift) -> str:
    """`front tilt +1.2 degrees (+-0.3)`."""
    figure = f"{drift.change_deg:+.1f} degrees (+-{drift.sigma_deg:.1f})"
    return f"{drift.camera} {drift.angle} {figure}"


def due_words(fleet: Fleet, vehicle: FleetVehicle) -> str:
    """When a vehicle is due again; empty where nobody says."""
    if vehicle.due is None:
        return ""
    late = (fleet.day - vehicle.due).days
    return f"{late} days ago" if late > 0 else "today" if late == 0 else vehicle.due.isoformat()
