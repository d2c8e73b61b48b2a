"""How likely the next edge is to meet the drawing, with bounds."""

from trials.infer.chance.draws import beta_draws, even_normals
from trials.infer.chance.grade import chance_of_grade, grade_draws
from trials.infer.chance.joint import JointChance, chance_of_all, effect_correlation, joint_draws
from trials.infer.chance.kinds import ChanceKind
from trials.infer.chance.mean_squares import Layers, MeanSquare, draw, find_layers, floor, key, variances
from trials.infer.chance.next_edge import (
    Chance,
    NextEdge,
    Rule,
    chance,
    check_rule,
    edge_chance,
    edge_draws,
    estimate_chance,
    layer_of,
    lost_cuts,
    most_by_cuts,
    next_edge,
    specimens_to_show,
)
from trials.infer.chance.proportion import lowest_share
from trials.infer.chance.reach import Reach, find_reach
from trials.infer.chance.source import CouponResponse, SpreadSource, correlations, find_source
from trials.infer.chance.tolerance import tolerance_bound

__all__ = [
    "Chance",
    "ChanceKind",
    "CouponResponse",
    "JointChance",
    "Layers",
    "MeanSquare",
    "NextEdge",
    "Reach",
    "Rule",
    "SpreadSource",
    "beta_draws",
    "chance",
    "chance_of_all",
    "chance_of_grade",
    "check_rule",
    "correlations",
    "draw",
    "edge_chance",
    "edge_draws",
    "effect_correlation",
    "estimate_chance",
    "even_normals",
    "find_layers",
    "find_reach",
    "find_source",
    "floor",
    "grade_draws",
    "joint_draws",
    "key",
    "layer_of",
    "lost_cuts",
    "lowest_share",
    "most_by_cuts",
    "next_edge",
    "specimens_to_show",
    "tolerance_bound",
    "variances",
]
