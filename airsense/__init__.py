"""airsense: prove whether an engine's airflow figures are true."""

__version__ = "0.1.0"
