"""Pure functions on arrays: air, fuel, exhaust, breathing, charge. SI units inside.

Every function takes numbers or arrays that broadcast, returns float64 arrays, keeps NaN as NaN
and never clips. Impossible arguments raise `airsense.errors.InputError`.
"""
