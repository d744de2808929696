"""Independent time-domain simulation that the closed forms are checked against."""
