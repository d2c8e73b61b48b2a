"""The model of a measured response: fixed terms, random structure."""

from trials.infer.model.structure import RestsOn, Structure, find_structure, rests_on
from trials.infer.model.terms import Axis, FixedModel, Term, build_model, candidate_terms, sum_to_zero

__all__ = [
    "Axis",
    "FixedModel",
    "RestsOn",
    "Structure",
    "Term",
    "build_model",
    "candidate_terms",
    "find_structure",
    "rests_on",
    "sum_to_zero",
]
