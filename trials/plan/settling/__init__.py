"""Plans that settle: the cheapest coupons, pieces and readings whose answer will most likely be right."""
