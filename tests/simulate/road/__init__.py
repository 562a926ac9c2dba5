"""Quasi-steady model of an engine on the road or held on a brake, apart from the march."""
