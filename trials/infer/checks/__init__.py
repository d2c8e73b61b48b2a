"""Checks of data and model that go with every fit."""

from typing import TYPE_CHECKING

from trials.late import fetched_late

if TYPE_CHECKING:
    from trials.infer.checks.far import far_coupons, far_from_others, far_pairs, far_readings
    from trials.infer.checks.residuals import (
        BoxCox,
        Shape,
        Slope,
        added_columns,
        box_cox,
        coupon_means,
        coupon_residuals,
        independent_of,
        lack_of_fit,
        log_variance_within,
        residual_shape,
        slope,
    )
    from trials.infer.checks.shuffle import Shuffle, shuffle_test
    from trials.infer.checks.sides import SideShift, side_shifts

__all__ = fetched_late(
    __name__,
    {
        "far": "far_coupons far_from_others far_pairs far_readings",
        "residuals": "BoxCox Shape Slope added_columns box_cox coupon_means coupon_residuals independent_of "
        "lack_of_fit log_variance_within residual_shape slope",
        "shuffle": "Shuffle shuffle_test",
        "sides": "SideShift side_shifts",
    },
)
