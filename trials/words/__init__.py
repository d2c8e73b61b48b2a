"""Words last: findings, settings, numbers and requirements become sentences here and nowhere below."""
