"""Cutting-nozzle trials: plan, record, grade, fit, decide."""
