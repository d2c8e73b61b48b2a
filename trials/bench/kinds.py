"""What measuring an edge, or studying the bench, can find; in brackets the facts that each kind carries."""

from __future__ import annotations

from enum import StrEnum


class Source(StrEnum):
    """Where readings of a study come to differ: the parts, and the sums of parts that are reported."""

    COUPON = "coupon"
    INSPECTOR = "inspector"
    COUPON_BY_INSPECTOR = "coupon x inspector"
    REPEAT = "repeat"
    REPRODUCIBILITY = "reproducibility"
    BENCH = "bench"


class Design(StrEnum):
    """How a study was laid out."""

    CROSSED = "crossed"
    NESTED = "nested"
    ONE_INSPECTOR = "one inspector"
    UNEQUAL_COUNTS = "unequal counts"
    ONCE_EACH = "once each"


class BenchKind(StrEnum):
    """Kinds of findings about traces, scans, measurement studies and agreement."""

    LINES_PASSED_OVER = "lines_passed_over"
    """lines"""
    TRACE_TURNED = "trace_turned"
    POINTS_TWICE = "points_twice"
    """points"""
    RESAMPLED = "resampled"
    """spacing"""
    SPIKES_KEPT = "spikes_kept"
    """points, first"""
    SPIKES_BRIDGED = "spikes_bridged"
    """points, first"""
    CUTOFF_CHOSEN = "cutoff_chosen"
    """cutoff, method"""
    CUTOFF_LONGEST = "longest_cutoff_taken"
    """cutoff"""
    CUTOFF_TOO_SHORT = "trace_too_short_for_the_cutoff"
    """method, asked, cutoff"""
    CUTOFF_UNUSUAL = "another_cutoff_asked"
    """rz5, method, asked, evaluated, cutoff"""
    SPACING_WIDE = "spacing_wide"
    """spacing, usual"""
    TIP_BLUNT = "tip_blunt"
    """tip, usual"""
    SCAN_SORTED = "scan_sorted"
    FEW_POINTS = "few_points"
    """points, low, high"""
    OFFSET_CONSTANT = "offset_constant"
    READING_UNCERTAIN = "reading_uncertain"
    """expanded"""
    ONE_INSPECTOR = "one_inspector"
    UNEQUAL_COUNTS = "unequal_counts"
    NOBODY_TWICE = "nobody_measured_twice"
    BELOW_ZERO = "spread_below_zero"
    """about.source"""
    SHARE_OF_LIMIT = "share_of_limit"
    """share"""
    SHARE_OF_SPREAD = "share_of_spread"
    """share"""
    SEES_WORTHWHILE = "bench_sees_worthwhile"
    NEEDS_COUPONS = "bench_needs_coupons"
    """coupons"""
    BIAS_BEYOND = "bias_beyond_doubt"
    """bias, readings"""
    BIAS_WITHIN = "bias_within_doubt"
    """bias, readings"""
    PAIRS_AGREE = "pairs_agree"
    """same, within_one"""
    SEES_GRADE = "bench_sees_grade"
    """worthwhile"""
    GRADE_NEEDS_COUPONS = "grade_needs_coupons"
    """worthwhile, coupons"""
