"""The texts and libraries that published checks name, in full: author, title, year, place."""

from __future__ import annotations

REFERENCES = {
    "40 CFR 1065": "U.S. Environmental Protection Agency, Engine-Testing Procedures, 2014, Code of "
    "Federal Regulations title 40 part 1065, worked examples of sections 1065.640 and 1065.645",
    "AFDC": "U.S. Department of Energy, Alternative Fuels Data Center, fuel properties comparison, "
    "2021, Washington",
    "Automotive OBD-II Dataset": "M. Weber, Automotive OBD-II Dataset, 2023, Karlsruhe Institute "
    "of Technology, DOI 10.35097/1130",
    "Bendat and Piersol": "J. S. Bendat, A. G. Piersol, Random data: analysis and measurement "
    "procedures, 2010, Wiley, Hoboken, fourth edition",
    "Brettschneider": "J. Brettschneider, Berechnung des Luftverhältnisses von "
    "Luft-Kraftstoff-Gemischen und des Einflusses von Messfehlern, 1979, Bosch Technische Berichte "
    "6, 177-186, Stuttgart",
    "CIPM-2007": "A. Picard, R. S. Davis, M. Gläser, K. Fujii, Revised formula for the density of "
    "moist air (CIPM-2007), 2008, Metrologia 45, 149-155",
    "CODATA 2018": "E. Tiesinga, P. J. Mohr, D. B. Newell, B. N. Taylor, CODATA recommended values "
    "of the fundamental physical constants: 2018, 2021, Reviews of Modern Physics 93, 025010",
    "Channiwala and Parikh": "S. A. Channiwala, P. P. Parikh, A unified correlation for estimating "
    "HHV of solid, liquid and gaseous fuels, 2002, Fuel 81, 1051-1063",
    "Collis": "D. C. Collis, M. J. Williams, Two-dimensional convection from heated wires at low "
    "Reynolds numbers, 1959, Journal of Fluid Mechanics 6, 357-384",
    "CoolProp": "I. H. Bell and others, Pure and pseudo-pure fluid thermophysical property "
    "evaluation and the open-source thermophysical property library CoolProp, 2014, Industrial & "
    "Engineering Chemistry Research 53, 2498-2508",
    "Guzzella and Onder": "L. Guzzella, C. H. Onder, Introduction to modeling and control of "
    "internal combustion engine systems, 2010, Springer, Berlin, second edition",
    "Heywood": "J. B. Heywood, Internal Combustion Engine Fundamentals, 1988, McGraw-Hill, New "
    "York",
    "Huber": "P. J. Huber, Robust estimation of a location parameter, 1964, Annals of Mathematical "
    "Statistics 35, 73-101",
    "IAPWS-95": "W. Wagner, A. Pruß, The IAPWS formulation 1995 for the thermodynamic properties "
    "of ordinary water substance, 2002, Journal of Physical and Chemical Reference Data 31, 387",
    "ISO 1585": "ISO, Road vehicles, engine test code, net power, 1992, ISO 1585, Geneva",
    "ISO 16183": "ISO, Heavy duty engines, measurement of gaseous emissions from raw exhaust gas, "
    "2002, ISO 16183, Geneva",
    "ISO 3046-1": "ISO, Reciprocating internal combustion engines, performance, part 1, 2002, ISO "
    "3046-1, Geneva",
    "ISO 3966": "ISO, Measurement of fluid flow in closed conduits: velocity area method using "
    "Pitot static tubes, 2008, ISO 3966",
    "ISO 5167": "ISO, Measurement of fluid flow by means of pressure differential devices, 2003, "
    "ISO 5167, Geneva",
    "IUPAC 2013": "J. Meija and others, Atomic weights of the elements 2013 (IUPAC Technical "
    "Report), 2016, Pure and Applied Chemistry 88, 265-291, conventional atomic weights",
    "J1979": "SAE International, E/E diagnostic test modes, 2012, SAE J1979, scaling of service 01",
    "JCGM 100:2008": "Joint Committee for Guides in Metrology, Evaluation of measurement data: "
    "guide to the expression of uncertainty in measurement, 2008, JCGM 100:2008, BIPM, Sèvres",
    "JCGM 101:2008": "Joint Committee for Guides in Metrology, Evaluation of measurement data: "
    "propagation of distributions using a Monte Carlo method, 2008, JCGM 101:2008, BIPM, Sèvres",
    "Kays and London": "W. M. Kays, A. L. London, Compact heat exchangers, 1984, McGraw-Hill, New "
    "York, third edition, chapter 2",
    "King": "L. V. King, On the convection of heat from small cylinders in a stream of fluid, "
    "1914, Philosophical Transactions of the Royal Society A 214, 373-432",
    "Moran and Shapiro": "M. J. Moran, H. N. Shapiro, Fundamentals of engineering thermodynamics, "
    "2006, Wiley, Chichester, fifth edition, chapter 6",
    "NIST SP 811": "A. Thompson, B. N. Taylor, Guide for the use of the international system of "
    "units (SI), 2008, NIST Special Publication 811, appendix B",
    "OIML R111": "International Organization of Legal Metrology, Weights of classes E1 to M3, part "
    "1, 2004, OIML R 111-1, Paris, annex E.3",
    "Ogata": "K. Ogata, Modern control engineering, 2010, Prentice Hall, Boston, fifth edition, "
    "section 5-2",
    "OpenModelica": "Open Source Modelica Consortium, OpenModelica user's guide, chapter Data "
    "reconciliation, 2023, Linköping",
    "PsychroLib": "D. Meyer, D. Thevenard, PsychroLib: a library of psychrometric functions to "
    "calculate thermodynamic properties of air, 2019, Journal of Open Source Software 4, 1137",
    "Pulkrabek": "W. W. Pulkrabek, Engineering fundamentals of the internal combustion engine, "
    "2004, Pearson Prentice Hall, second edition",
    "SAE J1349": "SAE International, Engine power test code: spark ignition and compression "
    "ignition, net power rating, 1990 and later, SAE J1349, Warrendale",
    "Schlichting": "H. Schlichting, Boundary-layer theory, 1979, McGraw-Hill, seventh edition, "
    "chapter 20",
    "Scilab Textbook Companion": "FOSSEE, Scilab textbook companion, book 443, example 17.18, 2010 "
    "and later, Indian Institute of Technology Bombay; its code was read, not the printed answer",
    "Spindt": "R. S. Spindt, Air-fuel ratios from exhaust gas analysis, 1965, SAE paper 650507, "
    "Warrendale",
    "U.S. Standard Atmosphere": "NOAA, NASA, USAF, U.S. Standard Atmosphere, 1976, U.S. Government "
    "Printing Office, Washington",
    "UN Regulation 85": "United Nations Economic Commission for Europe, Measurement of net power, "
    "UN Regulation 85, 1990 and later, Geneva",
    "VDI 2048-1": "Verein Deutscher Ingenieure, Control and quality improvement of process data "
    "and their uncertainties by means of correction calculation, 2017, VDI 2048 part 1",
    "Wahlstrom and Eriksson": "J. Wahlström, L. Eriksson, Modelling diesel engines with a "
    "variable-geometry turbocharger and exhaust gas recirculation, 2011, Proceedings of the "
    "Institution of Mechanical Engineers D 225, 960-986",
    "ambiance": "A. Dettmann and others, ambiance: a full implementation of the ICAO standard "
    "atmosphere 1993, 2019 and later, package registry",
    "cantera": "D. G. Goodwin and others, Cantera: an object-oriented software toolkit for "
    "chemical kinetics, thermodynamics and transport processes, 2003 and later, package registry",
    "fluids'": "C. Bell and others, fluids: fluid dynamics component of Chemical Engineering "
    "Design Library, 2016 and later, package registry",
    "scapy": "P. Biondi and the Scapy community, Scapy, 2003 and later, package registry, its "
    "dissector of on-board diagnostics",
    "scipy": "P. Virtanen and others, SciPy 1.0: fundamental algorithms for scientific computing "
    "in Python, 2020, Nature Methods 17, 261-272",
}
# What counts as no outside check.
NOT_INDEPENDENT = ("from memory", "by hand", "not an independent check")
