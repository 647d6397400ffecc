"""flutelab: fit the end corrections of duct flutes to measured notes, and foretell theirs."""

from importlib.metadata import version

from flutelab.errors import DataError, FitWarning, ValidityWarning
from flutelab.files.constants_file import Constants, read_constants, write_constants
from flutelab.files.flute_file import read_flute
from flutelab.files.flute_text import write_flute
from flutelab.files.note_table import read_measurements, write_measurements
from flutelab.files.report import report
from flutelab.files.tables import table
from flutelab.fitting.budget import Budget, budget
from flutelab.fitting.calibrate import Calibration, calibrate
from flutelab.fitting.flutes import NextFlute, by_session, next_flute
from flutelab.fitting.identifiability import WhatDataTell, what_data_tell
from flutelab.fitting.measurements import Measurements
from flutelab.fitting.mismatch import Mismatch, why_not_matching
from flutelab.fitting.next_measurement import Plan, next_measurement
from flutelab.fitting.problem import FitError
from flutelab.fitting.profiles import Profiles, profiles
from flutelab.fitting.resampling import Bootstrap, bootstrap
from flutelab.fitting.suspects import Suspect, suspects
from flutelab.fitting.sweep import sweep
from flutelab.fitting.what_if import what_if
from flutelab.fitting.worth import Worth, is_it_worth_it
from flutelab.model.byhand import by_hand, jet_readout
from flutelab.model.chain import PUBLISHED, Formulas
from flutelab.model.corrections import Corrections, Prior, Spread
from flutelab.model.cutoff import lattice_cutoff
from flutelab.model.flute import Bore, End, Flute, Hole, Window
from flutelab.model.inside import standing_wave
from flutelab.model.lattice import input_impedance
from flutelab.model.modes import modes
from flutelab.model.notes import Notes, frequency_gradient, playing_frequencies, predict_notes
from flutelab.model.octaves import octaves
from flutelab.model.rows import Rows, rows
from flutelab.model.sensitivities import sensitivities
from flutelab.model.spectrum import admittance, reactance_zeros, spectrum
from flutelab.model.warmth import single_temperature_error
from flutelab.physics.air import Air, moist_air
from flutelab.physics.breath import AirAlong

__version__ = version("flutelab")

__all__ = [
    "PUBLISHED",
    "Air",
    "AirAlong",
    "Bootstrap",
    "Bore",
    "Budget",
    "Calibration",
    "Constants",
    "Corrections",
    "DataError",
    "End",
    "FitError",
    "FitWarning",
    "Flute",
    "Formulas",
    "Hole",
    "Measurements",
    "Mismatch",
    "NextFlute",
    "Notes",
    "Plan",
    "Prior",
    "Profiles",
    "Rows",
    "Spread",
    "Suspect",
    "ValidityWarning",
    "WhatDataTell",
    "Window",
    "Worth",
    "admittance",
    "bootstrap",
    "budget",
    "by_hand",
    "by_session",
    "calibrate",
    "frequency_gradient",
    "input_impedance",
    "is_it_worth_it",
    "jet_readout",
    "lattice_cutoff",
    "modes",
    "moist_air",
    "next_flute",
    "next_measurement",
    "octaves",
    "playing_frequencies",
    "predict_notes",
    "profiles",
    "reactance_zeros",
    "read_constants",
    "read_flute",
    "read_measurements",
    "report",
    "rows",
    "sensitivities",
    "single_temperature_error",
    "spectrum",
    "standing_wave",
    "suspects",
    "sweep",
    "table",
    "what_data_tell",
    "what_if",
    "why_not_matching",
    "write_constants",
    "write_flute",
    "write_measurements",
]
