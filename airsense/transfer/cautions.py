"""What goes with every new table: in the text, beside the file and on the page."""

from __future__ import annotations

TABLE_CAUTIONS = (
    "A MAF table that reads high over-fuels: smoke, exhaust temperature and turbo speed rise. "
    "One that reads low leans the mixture out and upsets smoke limit and exhaust gas "
    "recirculation.",
    "Change the table in steps. After each step log again, watch exhaust temperature, lambda and "
    "turbo speed, and stop when one of them leaves its limit.",
)
