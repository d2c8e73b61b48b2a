"""Which coupons answer the question."""
