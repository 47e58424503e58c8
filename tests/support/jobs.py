"""A valid job that gives every field of the contract, spread over as many sheets as it takes."""

from __future__ import annotations

from typing import Any

TRAPPED_AIR = {"p5": 3, "p50": 12, "p95": 60}

FULL_JOB: dict[str, Any] = {
    "reference": "quote 4711-2",
    "sheets": [
        {
            "label": "cover",
            "material": "copy-paper",
            "grammage_gsm": 80,
            "grammage_tolerance_pct": 4,
            "surface": {
                "oiled": False,
                "interleaf": False,
                "printed": True,
                "gloss": False,
                "cut_out": False,
                "blocks": False,
                "marks_allowed": True,
                "gritty": False,
                "lift_mm": 1,
            },
        },
        {"material": "coated-board", "basis_weight_lb": 100, "basis": "cover"},
        {
            "material": "pvc-rigid",
            "thickness_um": 760,
            "thickness_tolerance_pct": 5,
            "double": {"contact": "partial", "overlap_mm": 80},
        },
        {
            "layers": [
                {"material": "copy-paper", "grammage_gsm": 70},
                {"material": "adhesive-acrylic", "thickness_um": 20},
                {
                    "material": "custom",
                    "thickness_um": 50,
                    "custom": {
                        "density_kg_m3": 900,
                        "longitudinal_speed_m_per_s": 2400,
                        "shear_speed_m_per_s": 1000,
                        "mass_tolerance_pct": 3,
                        "modulus_uncertainty_pct": 15,
                        "loss_uncertainty_pct": 30,
                    },
                },
            ]
        },
        {
            "corrugated": {
                "liners_gsm": [125, 125, 125],
                "walls": [{"flute": "B", "medium_gsm": 112}, {"flute": "E", "medium_gsm": 105}],
            },
            "flute_direction": "along-travel",
        },
        {"material": "copy-paper", "grammage_gsm": 80, "plies": 4, "double": {"kind": "one-ply-more"}},
        {"material": "nonwoven", "grammage_gsm": 40, "air_permeability_mm_per_s": 700, "test_pressure_pa": 100},
        {"material": "tissue", "grammage_gsm": 18, "air_permeance_um_per_pa_s": 200},
        {"material": "kraft-paper", "grammage_gsm": 70, "gurley_s_per_100ml": 20},
        {"material": "copy-paper", "grammage_gsm": 80, "bendtsen_ml_per_min": 400},
        {"material": "sack-kraft", "grammage_gsm": 80, "sheffield_units": 300},
        {"material": "pet", "thickness_um": 100, "open_area_pct": 10},
        {
            "material": "card-stock",
            "caliper_pt": 12,
            "trials": [
                {
                    "detector_class": "ultrasonic-400k",
                    "gap_mm": 29.5,
                    "tilt_deg": 5,
                    "band": {"low": 10, "high": 60},
                    "teach_ins": 5,
                    "singles": 3000,
                    "doubles": 300,
                    "single_as_double": 1,
                    "double_as_single": 2,
                    "date": "2026-03-02",
                }
            ],
        },
        {"material": "greyboard", "thickness_in": 0.06},
        {"material": "steel", "sheet_gauge": {"system": "steel", "number": 20}},
        {"construction": "label-paper", "label_state": "present"},
        {
            "material": "custom",
            "thickness_um": 1500,
            "custom": {
                "density_kg_m3": 1180,
                "youngs_modulus_gpa": 3.0,
                "poisson_ratio": 0.37,
                "loss_factor": 0.04,
                "trapped_air_um": TRAPPED_AIR,
                "like": "pet",
            },
        },
        {
            "material": "custom",
            "grammage_gsm": 300,
            "custom": {"density_kg_m3": 800, "c11_gpa": 6, "c13_gpa": 0.05, "c33_gpa": 0.05, "c55_gpa": 0.1},
        },
    ],
    "line": {
        "clearance_above_mm": 40,
        "clearance_below_mm": 35,
        "body_through_frame": True,
        "bed": True,
        "access": "both-sides",
        "dust": False,
        "wash_down": False,
        "speed_m_per_min": 120,
        "sheet_length_mm": 420,
        "sheet_width_mm": 300,
        "sheet_spacing_mm": 160,
        "shingle_pitch_mm": 200,
        "flutter_mm": 2,
        "flutter_deg": 1,
        "max_tilt_deg": 45,
        "feeding": "singulated",
        "lanes": 2,
        "lane_pitch_mm": 120,
        "edge_distance_mm": 60,
    },
    "environment": {
        "temperature_min_c": 15,
        "temperature_max_c": 35,
        "relative_humidity_min_pct": 30,
        "relative_humidity_max_pct": 70,
        "pressure_kpa": 101.325,
    },
    "controller": {"scan_ms": 10, "input_filter_ms": 3, "recipes": True},
    "targets": {
        "single_as_double": 100,
        "single_as_no_sheet": 100,
        "double_as_single": 10,
        "double_as_no_sheet": 10,
        "no_sheet_as_single": 100,
        "no_sheet_as_double": 100,
    },
    "require": {
        "housing": ["M18"],
        "output": ["pnp"],
        "supply": ["24 V DC"],
        "ingress": "IP65",
        "temperature_min_c": 5,
        "temperature_max_c": 50,
        "contactless": True,
    },
    "prefer": {"principles": ["ultrasonic"], "contactless": True, "effort_max": 4},
    "principles": ["ultrasonic"],
    "classes": ["ultrasonic-180k"],
    "catalogue": "reference",
    "keep_sequence": False,
    "limit": 5,
}
