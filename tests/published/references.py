"""The texts and libraries that published checks name, in full: author, title, year, place."""

from __future__ import annotations

REFERENCES = {
    "40 CFR 1065": "U.S. Environmental Protection Agency, Engine-Testing Procedures, 2014, Code of "
    "Federal Regulations title 40 part 1065, worked examples of sections 1065.640 and 1065.645",
    "CIPM-2007": "A. Picard, R. S. Davis, M. Gläser, K. Fujii, Revised formula for the density of "
    "moist air (CIPM-2007), 2008, Metrologia 45, 149-155",
    "CODATA 2018": "E. Tiesinga, P. J. Mohr, D. B. Newell, B. N. Taylor, CODATA recommended values "
    "of the fundamental physical constants: 2018, 2021, Reviews of Modern Physics 93, 025010",
    "Collis": "D. C. Collis, M. J. Williams, Two-dimensional convection from heated wires at low "
    "Reynolds numbers, 1959, Journal of Fluid Mechanics 6, 357-384",
    "CoolProp": "I. H. Bell and others, Pure and pseudo-pure fluid thermophysical property "
    "evaluation and the open-source thermophysical property library CoolProp, 2014, Industrial & "
    "Engineering Chemistry Research 53, 2498-2508",
    "Heywood": "J. B. Heywood, Internal Combustion Engine Fundamentals, 1988, McGraw-Hill, "
    "New York",
    "IAPWS-95": "W. Wagner, A. Pruß, The IAPWS formulation 1995 for the thermodynamic properties "
    "of ordinary water substance, 2002, Journal of Physical and Chemical Reference Data 31, 387",
    "ISO 3966": "ISO, Measurement of fluid flow in closed conduits: velocity area method using "
    "Pitot static tubes, 2008, ISO 3966",
    "IUPAC 2013": "J. Meija and others, Atomic weights of the elements 2013 (IUPAC Technical "
    "Report), 2016, Pure and Applied Chemistry 88, 265-291, conventional atomic weights",
    "J1979": "SAE International, E/E diagnostic test modes, 2012, SAE J1979, scaling of service 01",
    "JCGM 100:2008": "Joint Committee for Guides in Metrology, Evaluation of measurement data: "
    "guide to the expression of uncertainty in measurement, 2008, JCGM 100:2008, BIPM, Sèvres",
    "King": "L. V. King, On the convection of heat from small cylinders in a stream of fluid, "
    "1914, Philosophical Transactions of the Royal Society A 214, 373-432",
    "NIST SP 811": "A. Thompson, B. N. Taylor, Guide for the use of the international system of "
    "units (SI), 2008, NIST Special Publication 811, appendix B",
    "OpenModelica": "Open Source Modelica Consortium, OpenModelica user's guide, chapter Data "
    "reconciliation, 2023, Linköping",
    "PsychroLib": "D. Meyer, D. Thevenard, PsychroLib: a library of psychrometric functions to "
    "calculate thermodynamic properties of air, 2019, Journal of Open Source Software 4, 1137",
    "Pulkrabek": "W. W. Pulkrabek, Engineering fundamentals of the internal combustion engine, "
    "2004, Pearson Prentice Hall, second edition",
    "Scilab Textbook Companion": "FOSSEE, Scilab textbook companion, book 443, example 17.18, 2010 "
    "and later, Indian Institute of Technology Bombay; its code was read, not the printed answer",
    "Schlichting": "H. Schlichting, Boundary-layer theory, 1979, McGraw-Hill, seventh edition, "
    "chapter 20",
    "U.S. Standard Atmosphere": "NOAA, NASA, USAF, U.S. Standard Atmosphere, 1976, U.S. Government "
    "Printing Office, Washington",
    "VDI 2048-1": "Verein Deutscher Ingenieure, Control and quality improvement of process data "
    "and their uncertainties by means of correction calculation, 2017, VDI 2048 part 1",
    "Wahlstrom and Eriksson": "J. Wahlström, L. Eriksson, Modelling diesel engines with a "
    "variable-geometry turbocharger and exhaust gas recirculation, 2011, Proceedings of the "
    "Institution of Mechanical Engineers D 225, 960-986",
    "fluids'": "C. Bell and others, fluids: fluid dynamics component of Chemical Engineering "
    "Design Library, 2016 and later, package registry",
    "scapy": "P. Biondi and the Scapy community, Scapy, 2003 and later, package registry, its "
    "dissector of on-board diagnostics",
}
# What counts as no outside check.
NOT_INDEPENDENT = ("from memory", "by hand", "not an independent check")
