"""Rules that every answer keeps, whatever the job: each tells what of an answer breaks it.

A rule asks a few questions more, near to the job's own: a list's sheets alone, more room, the printed set-up.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterator
from typing import Any

from sheetmargin.contract.job import Line
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.selection.targets import DEFAULTS_PPM, SUITABLE

from support.asking import Asking, Json

ORDER = {"suitable": 0, "trial-needed": 1, "unsuitable": 2}
CLASSES = {c.id: c for c in reference_catalogue().classes}
LAST_DIGIT = 0.1
"""Levels, margins, gaps and tilts are told to a tenth."""
UNEQUAL = 0.5 * LAST_DIGIT
"""What is printed differs by more than this where it differs. Slopes of gap and tilt come from other neighbours where a
set-up is predicted than where it is sought: 0.01 dB, which may turn the last digit."""
STATES = ("no_sheet", "single", "double")
Rule = Callable[[Asking, Json, Json], Iterator[str]]


def setups(answer: Json) -> Iterator[tuple[Json, Json]]:
    """Every set-up that is offered, with its recommendation."""
    for recommendation in answer["recommendations"]:
        for setup in recommendation["setups"]:
            yield recommendation, setup


def by_class(answer: Json) -> dict[str, Json]:
    """The recommendations of one class alone, by its id."""
    found = {}
    for one in answer["recommendations"]:
        names = {setup["detector_class"]["id"] for setup in one["setups"]}
        if len(names) == 1:
            found[names.pop()] = one
    return found


def standing(recommendation: Json) -> tuple[int, ...]:
    """What counts first in the order of recommendations; less is better."""
    chance = min(sheet["chance"] for sheet in recommendation["sheets"])
    classes = [setup["detector_class"]["id"] for setup in recommendation["setups"]]
    stand = [
        [axis and axis["nominal"] for axis in setup["geometry"].values() if axis is None or "nominal" in axis]
        for setup in recommendation["setups"]
    ]
    geometries = {(name, *at) for name, at in zip(classes, stand, strict=True)}
    return (
        -recommendation["serves"]["count"],
        ORDER[recommendation["verdict"]],
        sum(chance < edge for edge in (0.95, 0.80, 0.50, 0.20, 0.05)),
        len(geometries),
        len(set(classes)),
    )


def installed(job: Json, setup: Json, index: int, *, tilt_deg: float | None = None, **changed: Any) -> Json:
    """The question what one of a job's sheets reads at a set-up as it is printed."""
    geometry, profile = setup["geometry"], setup["profile"]
    printed = geometry["tilt_deg"]["nominal"] if geometry["tilt_deg"] else 0.0
    same = {part: job[part] for part in ("line", "environment", "controller", "targets", "catalogue") if part in job}
    return {
        **same,
        "sheet": job["sheets"][index],
        "setup": {
            "detector_class": setup["detector_class"]["id"],
            "gap_mm": geometry["gap_mm"]["nominal"],
            "tilt_deg": printed if tilt_deg is None else tilt_deg,
            "profile": {"band": {edge: profile["band"][edge] for edge in ("low", "high")}},
        },
        **changed,
    }


def levels(result: Json) -> dict[str, float]:
    """Everything that a sheet reads, by its name."""
    found = {
        f"{state} {percentile}": result["signal"][state][percentile]
        for state in STATES
        for percentile in ("p1", "p50", "p99")
    }
    return found | {f"margin of {state}": result["margin"][state] for state in STATES}


def apart(one: Json, other: Json, *, by: float) -> str | None:
    """The first level of two results that differs by more."""
    other_levels = levels(other)
    for name, value in levels(one).items():
        if abs(value - other_levels[name]) > by:
            return f"{name} {value} and {other_levels[name]} {one['signal']['unit']}"
    return None


def name(setup: Json) -> str:
    geometry = setup["geometry"]
    tilt = f", {geometry['tilt_deg']['nominal']} deg" if geometry["tilt_deg"] else ""
    return f"{setup['detector_class']['id']} at {geometry['gap_mm']['nominal']} mm{tilt}"


def _worse_alone(asking: Asking, job: Json, answer: Json) -> Iterator[tuple[int, str, bool]]:
    """Sheets of a list that are worse by themselves: which, how they are, and whether the list's own set-up is as bad
    for the sheet."""
    if len(job["sheets"]) == 1:
        return
    alone = {i: asking.recommend(job | {"sheets": [sheet]}) for i, sheet in enumerate(job["sheets"])}
    for i, one in alone.items():
        if one is None or ORDER[one["verdict"]] <= ORDER[answer["verdict"]]:
            continue
        setup = next(setup for setup in answer["recommendations"][0]["setups"] if i in setup["sheets"])
        found = asking.predict(installed(job, setup, i))
        yield i, one["verdict"], found is None or ORDER[found["verdict"]] > ORDER[answer["verdict"]]


def a_list_is_as_good_as_its_worst_sheet(asking: Asking, job: Json, answer: Json) -> Iterator[str]:
    for i, verdict, bad in _worse_alone(asking, job, answer):
        if bad:
            yield f"the list is {answer['verdict']}, sheet {i} alone {verdict}, and its set-up no better for it"


def a_sheet_alone_finds_what_a_list_finds(asking: Asking, job: Json, answer: Json) -> Iterator[str]:
    for i, verdict, bad in _worse_alone(asking, job, answer):
        if not bad:
            yield f"the list is {answer['verdict']}, sheet {i} alone {verdict}, where the list's set-up serves it"


def more_room_is_no_worse(asking: Asking, job: Json, answer: Json) -> Iterator[str]:
    line = job.get("line", {})
    given = [side for side in ("clearance_above_mm", "clearance_below_mm") if side in line]
    if not given:
        return
    roomier = {"line": line | {side: min(1.5 * line[side], 2000.0) for side in given}}
    wider = asking.recommend(job | roomier)
    assert wider is not None
    if ORDER[wider["verdict"]] > ORDER[answer["verdict"]]:
        yield f"{answer['verdict']}, and {wider['verdict']} with more room"
    better = by_class(wider)
    for class_id, one in by_class(answer).items():
        if class_id not in better or standing(better[class_id])[:2] > standing(one)[:2]:
            yield f"{class_id} is {one['verdict']} for {one['serves']['count']}, and less with more room"
    for recommendation, setup in setups(answer):
        for i in setup["sheets"]:
            found = asking.predict(installed(job, setup, i, **roomier))
            if found is None:
                yield f"{name(setup)} cannot be with more room"
            elif found["setups"][0]["mounting"] and not found["setups"][0]["mounting"]["fits"]:
                yield f"{name(setup)} does not fit with more room"
            elif ORDER[found["verdict"]] > ORDER[recommendation["verdict"]]:
                yield f"{name(setup)} is {recommendation['verdict']}, and {found['verdict']} with more room"


def stricter_targets_raise_no_verdict(asking: Asking, job: Json, answer: Json) -> Iterator[str]:
    targets = {pair: 0.1 * target for pair, target in (DEFAULTS_PPM | job.get("targets", {})).items()}
    stricter = asking.recommend(job | {"targets": targets})
    assert stricter is not None
    if ORDER[stricter["verdict"]] < ORDER[answer["verdict"]]:
        yield f"{answer['verdict']}, and {stricter['verdict']} by a tenth of the targets"
    before = by_class(answer)
    for class_id, one in by_class(stricter).items():
        if class_id not in before or standing(one)[:2] < standing(before[class_id])[:2]:
            yield f"{class_id} does more by a tenth of the targets: {one['verdict']} for {one['serves']['count']}"


def _wider(job: Json, index: int) -> dict[str, tuple[Json, Json]]:
    """What is told of a job and one of its sheets, less exact than it might be and less again, by what it is of."""
    sheet, line, air = job["sheets"][index], job.get("line", {}), job.get("environment", {})
    coldest, warmest = air.get("temperature_min_c", 15.0), air.get("temperature_max_c", 35.0)
    driest, dampest = air.get("relative_humidity_min_pct", 30.0), air.get("relative_humidity_max_pct", 70.0)
    found = {}
    for field in ("grammage_tolerance_pct", "thickness_tolerance_pct"):
        least = sheet.get(field, 3.0)
        if least <= 10.0:
            pair = ({"sheet": sheet | {field: least}}, {"sheet": sheet | {field: 2.0 * least + 1.0}})
            found[field] = pair
    for field, most in (("flutter_mm", 50.0), ("flutter_deg", 15.0)):
        least = line.get(field, 1.0)
        if least <= most:
            found[field] = ({"line": line | {field: least}}, {"line": line | {field: 1.5 * least + 0.5}})
    if coldest <= warmest and coldest >= -30.0 and warmest <= 100.0 and driest <= dampest:
        # The humidity that is assumed is that of the warmest air.
        damp = air | {"relative_humidity_min_pct": driest, "relative_humidity_max_pct": dampest}
        at = {"temperature_min_c": coldest, "temperature_max_c": warmest}
        more = {"temperature_min_c": coldest - 10.0, "temperature_max_c": warmest + 10.0}
        found["temperature"] = ({"environment": damp | at}, {"environment": damp | more})
    if driest <= dampest and driest >= 10.0 and dampest <= 90.0:
        at = {"relative_humidity_min_pct": driest, "relative_humidity_max_pct": dampest}
        more = {"relative_humidity_min_pct": driest - 10.0, "relative_humidity_max_pct": dampest + 10.0}
        found["humidity"] = ({"environment": air | at}, {"environment": air | more})
    return found


def wider_tolerance_raises_no_margin(asking: Asking, job: Json, answer: Json) -> Iterator[str]:
    """One kind of tolerance a set-up, in turn."""
    for _, setup in setups(answer):
        i = setup["sheets"][0]
        kinds = _wider(job, i)
        if not kinds:
            continue
        kind = sorted(kinds)[zlib.crc32(repr(job).encode()) % len(kinds)]
        one, other = (asking.predict(installed(job, setup, i, **changed)) for changed in kinds[kind])
        if one is None or other is None:
            continue
        before, after = one["sheets"][0], other["sheets"][0]
        # 0.2 dB of what is told in another unit.
        allowed = 0.2 if before["signal"]["unit"] == "dB" else 0.1 + 0.023 * before["signal"]["single"]["p50"]
        for state in STATES:
            more = after["margin"][state] - before["margin"][state]
            if more > allowed + 1e-9:
                yield f"{name(setup)}: more {kind} raises the margin of {state} by {more:.1f}"


def one_more_class_lowers_nothing(asking: Asking, job: Json, answer: Json) -> Iterator[str]:
    classes = job.get("classes", ())
    if len(classes) < 2:
        return
    fewer = asking.recommend(job | {"classes": classes[:-1]})
    assert fewer is not None
    if not fewer["recommendations"]:
        return
    before, now = fewer["recommendations"][0], next(iter(answer["recommendations"]), None)
    if now is None or standing(now) > standing(before):
        yield f"rank 1 was {standing(before)} without {classes[-1]}, and is {now and standing(now)} with it"
    if ORDER[answer["verdict"]] > ORDER[fewer["verdict"]]:
        yield f"{fewer['verdict']} without {classes[-1]}, {answer['verdict']} with it"
    alone, others = by_class(answer), by_class(fewer)
    alike = {one["detector_class"] for one in answer["alternatives"] if one["code"] == "same-as-another"}
    for class_id, one in others.items():
        same = alone.get(class_id)
        if same is None and class_id in alike:
            continue
        if same is None or any(same[part] != one[part] for part in ("verdict", "serves", "setups", "sheets")):
            yield f"what {class_id} does by itself is another with {classes[-1]}"
    if [c for c in alone if c in others] != [c for c in others if c in alone]:
        yield f"the order of the others is another with {classes[-1]}"


POUND_G, INCH_M, REAM = 453.59237, 0.0254, 500
BASES = {"bond": (17, 22), "cover": (20, 26), "text": (25, 38)}
"""Basic sizes in inches."""


def in_other_units(sheet: Json) -> Json | None:
    """The same sheet in points, inches or pounds a ream; None where it is given by neither size."""
    sheet = dict(sheet)
    if "thickness_um" in sheet:
        um = sheet.pop("thickness_um")
        return sheet | ({"caliper_pt": um / 25.4} if int(um) % 2 else {"thickness_in": um / 25_400.0})
    if "grammage_gsm" in sheet and "basis" not in sheet:
        gsm = sheet.pop("grammage_gsm")
        basis, (width, height) = list(BASES.items())[int(gsm) % len(BASES)]
        pounds = gsm * REAM * width * height * INCH_M**2 / POUND_G
        return sheet | {"basis_weight_lb": pounds, "basis": basis}
    return None


def _scaled(sheet: Json, factor: float) -> Json:
    return sheet | {size: factor * sheet[size] for size in ("thickness_um", "grammage_gsm") if size in sheet}


def units_are_equal(asking: Asking, job: Json, answer: Json) -> Iterator[str]:
    other = [in_other_units(sheet) or sheet for sheet in job["sheets"]]
    if other == job["sheets"]:
        return
    same = asking.recommend(job | {"sheets": other})
    if same is None:
        # At the end of a range, what is rounded may lie outside.
        near = [[_scaled(sheet, factor) for sheet in job["sheets"]] for factor in (1.0 - 1e-12, 1.0 + 1e-12)]
        if all(asking.recommend(job | {"sheets": sheets}) for sheets in near):
            yield "a sheet is refused in other units"
        return
    told = [
        [(s["grammage_gsm"], s["thickness_um"], s["density_kg_m3"]) for s in one["sheets"]] for one in (answer, same)
    ]
    if any(abs(a - b) > 0.11 for x, y in zip(*told, strict=True) for a, b in zip(x, y, strict=True)):
        yield f"sheets are understood as {told[0]}, in other units as {told[1]}"
    if answer["verdict"] != same["verdict"]:
        yield f"{answer['verdict']}, in other units {same['verdict']}"
    for one, two in zip(answer["recommendations"], same["recommendations"], strict=True):
        if [name(s) for s in one["setups"]] != [name(s) for s in two["setups"]]:
            yield f"rank {one['rank']} is {name(one['setups'][0])}, in other units {name(two['setups'][0])}"
            return
        for a, b in zip(one["sheets"], two["sheets"], strict=True):
            if told_apart := apart(a, b, by=LAST_DIGIT + UNEQUAL):
                yield f"in other units {told_apart}"


def what_is_printed_reads_as_printed(asking: Asking, job: Json, answer: Json) -> Iterator[str]:
    for recommendation, setup in setups(answer):
        results = {result["index"]: result for result in recommendation["sheets"]}
        for i in setup["sheets"]:
            found = asking.predict(installed(job, setup, i))
            if found is None:
                yield f"{name(setup)} is refused"
            elif told := apart(results[i], found["sheets"][0], by=LAST_DIGIT + UNEQUAL):
                yield f"{name(setup)}, sheet {i}: told and predicted are {told}"


def a_verdict_is_of_the_setting(asking: Asking, job: Json, answer: Json) -> Iterator[str]:
    """Not of how it was found: the printed set-up is judged alike where it stands already. Only what setting it by hand
    asks for does not count there, and that all sheets of a list meet their targets together."""
    for recommendation in answer["recommendations"]:
        judged = []
        for setup in recommendation["setups"]:
            each = [asking.predict(installed(job, setup, i)) for i in setup["sheets"]]
            judged += [one["verdict"] for one in each if one is not None]
        if len(judged) != len(recommendation["sheets"]):
            continue
        worst = max(judged, key=ORDER.__getitem__)
        narrow = any(reason["code"] == "window-too-narrow" for reason in recommendation["reasons"])
        doubtful = narrow or recommendation["chance"] < SUITABLE
        expected = max("trial-needed" if doubtful else "suitable", worst, key=ORDER.__getitem__)
        if recommendation["verdict"] != expected:
            yield f"rank {recommendation['rank']} is {recommendation['verdict']}, where it stands {worst}"


def limit_only_cuts(asking: Asking, job: Json, answer: Json) -> Iterator[str]:
    if len(answer["recommendations"]) < 2:
        return
    cut = asking.recommend(job | {"limit": 1})
    assert cut is not None
    if cut["verdict"] != answer["verdict"]:
        yield f"{answer['verdict']}, cut to one {cut['verdict']}"
    if cut["recommendations"] != answer["recommendations"][:1]:
        yield "the first is another when the rest is cut"


def an_answer_agrees_with_itself(asking: Asking, job: Json, answer: Json) -> Iterator[str]:
    """Its verdict is that of the worst sheet; every sheet has a set-up that names it, or a reason why it has none."""
    first = next(iter(answer["recommendations"]), None)
    expected = "unsuitable" if first is None or first["not_served"] else first["verdict"]
    if answer["verdict"] != expected:
        yield f"{answer['verdict']}, its first recommendation {expected}"
    everyone = list(range(len(job["sheets"])))
    order = [standing(one) for one in answer["recommendations"]]
    if order != sorted(order):
        yield f"recommendations are not in order: {order}"
    for one in answer["recommendations"]:
        named = sorted(i for setup in one["setups"] for i in setup["sheets"])
        results = {result["index"]: result["setup"] for result in one["sheets"]}
        if sorted([*named, *(sheet["index"] for sheet in one["not_served"])]) != everyone or sorted(results) != named:
            yield f"rank {one['rank']} does not name each sheet once"
        if any(i not in one["setups"][setup]["sheets"] for i, setup in results.items()):
            yield f"rank {one['rank']}: a sheet points to another's set-up"
        if one["serves"] != {"count": len(named), "of": len(everyone)}:
            yield f"rank {one['rank']} serves {one['serves']}"
        if one["verdict"] == "unsuitable":
            yield f"rank {one['rank']} is offered and unsuitable"
        if told := _verdict_and_chance_differ(one):
            yield f"rank {one['rank']}: {told}"
    told = {setup["detector_class"]["id"] for _, setup in setups(answer)}
    told |= {rejection["detector_class"] for rejection in [*answer["ruled_out"], *answer["alternatives"]]}
    if missing := set(job.get("classes", CLASSES)) - told:
        yield f"nothing is said of {sorted(missing)}"


def _verdict_and_chance_differ(one: Json) -> str | None:
    """A verdict is that of its chance, or names the reason why it is worse. A trial it may be from a smaller one: where
    one answer may still turn it, and of several sheets where each alone has a chance."""
    if one["verdict"] == "trial-needed" and one["chance"] < 0.05:
        return None
    by_chance = "suitable" if one["chance"] >= 0.95 else "trial-needed" if one["chance"] >= 0.05 else "unsuitable"
    named = one["limited_by"] in {reason["code"] for reason in one["reasons"]}
    if (one["verdict"] == by_chance) == (one["limited_by"] is None) and (named or one["limited_by"] is None):
        return None
    return f"{one['verdict']} with a chance of {one['chance']}, limited by {one['limited_by']}"


def what_is_suitable_passes_every_check(asking: Asking, job: Json, answer: Json) -> Iterator[str]:
    """Fit, rating, access, timing, targets: by what the job states and what the answer prints."""
    for recommendation, setup in setups(answer):
        if recommendation["verdict"] == "suitable":
            for told in (*_room(job, setup), *_line(job, setup), *_time(job, setup)):
                yield f"{name(setup)}: {told}"
    for recommendation in answer["recommendations"]:
        if recommendation["verdict"] == "suitable":
            yield from _targets(job, recommendation)
        named = {setup["detector_class"]["id"]: False for setup in recommendation["setups"]}
        named |= {setup["detector_class"]["id"]: True for setup in recommendation["setups"] if setup["order_items"]}
        yield from (f"nothing of {c} is ordered" for c, ordered in named.items() if not ordered)


def _room(job: Json, setup: Json) -> Iterator[str]:
    """Head by head, with its cable: the face at its share of the gap, the body behind it."""
    line, c = job.get("line", {}), CLASSES[setup["detector_class"]["id"]]
    free = {side: line.get(f"clearance_{side}_mm") for side in ("above", "below")}
    gap, depth = setup["geometry"]["gap_mm"]["nominal"], 0.0 if line.get("body_through_frame") else c.housing.depth_mm
    pitch = line.get("lane_pitch_mm")
    if line.get("lanes", 1) > 1 and pitch is not None and pitch < c.housing.width_mm:
        yield f"heads of {c.housing.width_mm} mm side by side at a pitch of {pitch} mm"
    if setup["detector_class"]["principle"] == "eddy-current-one-sided":
        if None not in free.values() and max(free.values()) + LAST_DIGIT < gap + depth:
            yield f"{gap + depth} mm on neither side, {free}"
        return
    if c.id == "thickness-roller":
        if line.get("bed") is False:
            yield "nothing for a roller to run on"
        if free["above"] is not None and free["above"] < depth:
            yield f"no room for the roller's head, {free}"
        if not line.get("bed") and free["below"] is not None and free["below"] < c.parameters.support_mm:
            yield f"no room for what a roller runs on, {free}"
        return
    mounting = setup["mounting"]
    if mounting is None:
        short = [side for side, clearance in free.items() if clearance is not None and clearance < 0.5 * gap + depth]
        if short:
            yield f"no room for the head {short}, {free}"
        return
    if not mounting["fits"]:
        yield "does not fit by its own mounting"
    for side in ("above", "below"):
        room = mounting[side]
        if room["available_mm"] is not None and room["needed_mm"] > room["available_mm"] + LAST_DIGIT:
            yield f"{room['needed_mm']} mm {side} of {room['available_mm']}"
        at = mounting["emitter_to_sheet_mm" if side == "below" else "receiver_to_sheet_mm"]
        if at <= line.get("flutter_mm", 1.0):
            yield f"the face is {at} mm from the sheet"


def _line(job: Json, setup: Json) -> Iterator[str]:
    """Rating, tilt, contact and the sheet's edge."""
    line, air, c = job.get("line", {}), job.get("environment", {}), CLASSES[setup["detector_class"]["id"]]
    for temperature in (air.get("temperature_min_c"), air.get("temperature_max_c")):
        if temperature is not None and not c.temperature_min_c <= temperature <= c.temperature_max_c:
            yield f"rated from {c.temperature_min_c} to {c.temperature_max_c} degrees C, asked for {temperature}"
    tilt = setup["geometry"]["tilt_deg"]
    if tilt and tilt["nominal"] > line.get("max_tilt_deg", 90.0):
        yield f"a tilt of {tilt['nominal']} degrees, of at most {line['max_tilt_deg']}"
    distances = (setup["mounting"] or {}).get("distances")
    edge = line.get("edge_distance_mm")
    if distances and edge is not None and edge + LAST_DIGIT < distances["edge_least_mm"]:
        yield f"the beam {edge} mm from the edge, which needs {distances['edge_least_mm']}"


def _time(job: Json, setup: Json) -> Iterator[str]:
    line, controller, timing = job.get("line", {}), job.get("controller", {}), setup["timing"]
    speed = line.get("speed_m_per_min")
    if timing is None:
        return
    if timing["fits"] is False:
        yield "too fast by its own timing"
    if speed is not None and timing["speed_max_m_per_min"] is not None and speed > timing["speed_max_m_per_min"]:
        yield f"{speed} m/min, of at most {timing['speed_max_m_per_min']}"
    parameters = CLASSES[setup["detector_class"]["id"]].parameters
    run = -(-parameters.response_ms // parameters.reading_interval_ms)
    for count in ("readings_per_sheet", "readings_per_double"):
        if timing[count] is not None and timing[count] < run:
            yield f"{timing[count]} {count}, of which {run:g} are needed"
    spacing, scan = line.get("sheet_spacing_mm"), controller.get("scan_ms")
    if not Line(**line).shingled and None not in (spacing, scan, speed):
        space_ms = 60.0 * spacing / speed
        if space_ms < 2.0 * scan:
            yield f"a space of {space_ms:.1f} ms, a scan of {scan} ms"


def _targets(job: Json, recommendation: Json) -> Iterator[str]:
    targets = DEFAULTS_PPM | job.get("targets", {})
    for result in recommendation["sheets"]:
        for pair, target in targets.items():
            misread = result["misread_ppm"][pair]
            if misread["high"] > target + 1e-3:
                yield f"sheet {result['index']}: {pair} up to {misread['high']}, of {target}"


def a_window_can_be_kept_to(asking: Asking, job: Json, answer: Json) -> Iterator[str]:
    """What is suitable stands in its windows, and what is set by hand as far from their ends as setting it leaves."""
    for recommendation, setup in setups(answer):
        geometry, alignment = setup["geometry"], setup["alignment"]
        gap, tilt = geometry["gap_mm"], geometry["tilt_deg"]
        for window in filter(None, (gap, tilt)):
            if not window["min"] <= window["nominal"] <= window["max"]:
                yield f"{name(setup)}: outside its window {window}"
        if recommendation["verdict"] != "suitable" or alignment is None:
            continue
        c = CLASSES[setup["detector_class"]["id"]]
        if c.parameters.gap_min_mm < c.parameters.gap_max_mm:
            room = min(gap["nominal"] - gap["min"], gap["max"] - gap["nominal"])
            if room < 1.0 - UNEQUAL:
                yield f"{name(setup)}: {room:.1f} mm from the end of its window"
        if tilt and job.get("line", {}).get("max_tilt_deg", 45.0) > 0.0:
            ends = [tilt["max"] - tilt["nominal"], *([tilt["nominal"] - tilt["min"]] if tilt["min"] > 0.0 else [])]
            if min(ends) < alignment["angle_deg_1db"] - UNEQUAL:
                yield f"{name(setup)}: {min(ends):.1f} degrees from the end of its window"


NEXT_TO_NOTHING = 1e-12


def levels_are_continuous(asking: Asking, job: Json, answer: Json) -> Iterator[str]:
    """A tilt or a gap that nobody can tell from another reads alike."""
    for _, setup in setups(answer):
        i, geometry = setup["sheets"][0], setup["geometry"]
        here = installed(job, setup, i)
        tilt_deg, gap_mm = here["setup"]["tilt_deg"], here["setup"]["gap_mm"]
        near: list[Json] = []
        if geometry["tilt_deg"] is not None:
            tilts = (NEXT_TO_NOTHING, 1e-4) if tilt_deg == 0.0 else (tilt_deg - NEXT_TO_NOTHING, tilt_deg - 1e-4)
            near += [here["setup"] | {"tilt_deg": tilt} for tilt in tilts]
        if geometry["gap_mm"]["min"] < gap_mm:
            near.append(here["setup"] | {"gap_mm": gap_mm - 1e-9})
        found = asking.predict(here)
        for there in near:
            other = asking.predict(here | {"setup": there})
            if (found is None) != (other is None):
                yield f"{name(setup)} can be, and cannot next to it"
            elif found and other and (told := apart(found["sheets"][0], other["sheets"][0], by=LAST_DIGIT + UNEQUAL)):
                yield f"{name(setup)} and next to it: {told}"


RULES: tuple[Rule, ...] = (
    an_answer_agrees_with_itself,
    what_is_suitable_passes_every_check,
    a_window_can_be_kept_to,
    what_is_printed_reads_as_printed,
    a_verdict_is_of_the_setting,
    levels_are_continuous,
    wider_tolerance_raises_no_margin,
    a_list_is_as_good_as_its_worst_sheet,
    a_sheet_alone_finds_what_a_list_finds,
    more_room_is_no_worse,
    stricter_targets_raise_no_verdict,
    one_more_class_lowers_nothing,
    limit_only_cuts,
    units_are_equal,
)
