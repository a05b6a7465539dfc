"""From calibration runs to the recovery in force."""
