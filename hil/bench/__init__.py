"""What is measured of a servo, and through what."""
