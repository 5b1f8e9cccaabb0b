"""Material lots, panels, coupons and their custody."""
