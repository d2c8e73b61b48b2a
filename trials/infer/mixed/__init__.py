"""The mixed model by restricted likelihood with the tests of Kenward and Roger."""

from trials.infer.mixed.fit import Anchored, Estimate, FTest, MixedDesign, MixedFit, fit_mixed, interval
from trials.infer.mixed.kernel import FixedPart

__all__ = ["Anchored", "Estimate", "FTest", "FixedPart", "MixedDesign", "MixedFit", "fit_mixed", "interval"]
