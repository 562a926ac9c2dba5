"""The jobs in a browser, on this computer only. It calls jobs and computes nothing."""
