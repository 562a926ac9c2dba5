"""Unit spellings found in logs and in print, each under the unit that it stands for in pint."""

from __future__ import annotations

GAUGE = "gauge"
ABSOLUTE = "absolute"

# pint expression -> spellings, compared without case, blanks and brackets.
SPELLINGS: tuple[tuple[str, str], ...] = (
    ("pascal", "pa pascal n/m2"),
    ("hectopascal", "hpa"),
    ("kilopascal", "kpa kpascal"),
    ("megapascal", "mpa"),
    ("bar", "bar bars"),
    ("millibar", "mbar mb millibar"),
    ("psi", "psi lb/in2 lbf/in2 lbs/in2 lb/sqin lbs/sqin"),
    ("inch_Hg", 'inhg in.hg inchhg inches_hg "hg in_hg inhg.'),
    ("mmHg", "mmhg mm_hg torr"),
    ("inH2O", 'inh2o in.h2o "h2o inwc in.wc inwg iwc "wc in_h2o'),
    ("cmH2O", "cmh2o cmwc cmws"),
    ("mmH2O", "mmh2o mmwc mmws mm_h2o"),
    ("atmosphere", "atm"),
    ("kilogram_force/centimeter**2", "kgf/cm2 kg/cm2 kp/cm2"),
    ("gram/second", "g/s gm/s g/sec gm/sec gps gr/s gram/s grams/s gram/sec grams/sec gs-1 g*s-1"),
    ("gram/minute", "g/min gm/min"),
    ("gram/hour", "g/h g/hr"),
    ("milligram/second", "mg/s mg/sec"),
    ("kilogram/hour", "kg/h kg/hr kg/hour kgh kgph kg/std"),
    ("kilogram/second", "kg/s kg/sec"),
    ("kilogram/minute", "kg/min"),
    ("pound/minute", "lb/min lbs/min lb/mn lbm/min pound/min pounds/min ppm_mass"),
    ("pound/hour", "lb/h lb/hr lbs/h lbs/hr lbm/h lbm/hr pph"),
    ("pound/second", "lb/s lbs/s lb/sec lbs/sec"),
    (
        "milligram",
        "mg mg/stroke mg/strokes mg/str mg/strk mg/stk mg/st mg/hub mg/cyl mg/cycle mg/cyc "
        "mg/inj mg/injection mg/shot mg/asp mgperstroke",
    ),
    ("gram", "g g/stroke g/str g/stk g/cyl g/cycle gm/cyl gram/cyl g/hub g/cylinder"),
    ("kilogram", "kg kg/stroke kg/cycle"),
    (
        "millimeter**3",
        "mm3 mm3/stroke mm3/str mm3/stk mm3/st mm3/strk mm3/hub mm3/h. mm3/cyl mm3/cycle "
        "mm3/inj mm3/injection ul/stroke ul/str cmm/stroke cmm cumm/stroke mcl/stroke",
    ),
    ("liter/hour", "l/h l/hr lph l/hour ltr/h ltr/hr liter/h litre/h liters/h litres/h lt/h"),
    ("liter/minute", "l/min lpm ltr/min"),
    ("liter/second", "l/s"),
    ("milliliter/minute", "ml/min cc/min ccm/min cm3/min"),
    ("milliliter/second", "ml/s cc/s cm3/s"),
    ("meter**3/hour", "m3/h m3/hr"),
    ("meter**3/second", "m3/s"),
    ("gallon/hour", "gal/h gal/hr gph gallon/h gallons/h gallons/hr usgal/h usgph"),
    ("imperial_gallon/hour", "impgal/h impgph ukgal/h"),
    ("degC", "°c degc c celsius deg_c centigrade degcelsius deg.c gradc grad_c ℃ �c ?c"),
    ("degF", "°f degf f fahrenheit deg_f degfahrenheit deg.f ℉ �f ?f"),
    ("kelvin", "k kelvin degk °k"),
    ("percent", "% pct percent perc prc %rh %rel %vol vol% vol-% %v/v %v mol% %mol"),
    ("ppm", "ppm"),
    ("dimensionless", "1 - ratio fraction frac lambda λ la lam none unitless phi_inv"),
    ("afr_point", "afr a/f :1 afr:1 airfuelratio"),
    ("volt", "v volt volts vdc"),
    ("millivolt", "mv mvolt"),
    ("hertz", "hz hertz"),
    ("kilohertz", "khz"),
    ("second", "s sec secs second seconds"),
    ("millisecond", "ms msec millisecond milliseconds msecs"),
    ("microsecond", "us usec microsecond microseconds usecs"),
    ("minute", "min mins minute minutes"),
    ("hour", "h hr hour hours"),
    ("count", "count counts cnt cnts adc raw bit bits lsb digit digits steps"),
    ("newton*meter", "nm n*m n.m n-m n_m newtonmeter newton-meter newtonmetre"),
    (
        "foot*pound_force",
        "lb-ft lbft lb.ft lb*ft lb_ft lbf-ft lbfft lbf*ft lbs-ft lbsft ft-lb ftlb ft.lb ft*lb "
        "ft-lbs ftlbs ft-lbf ftlbf ft*lbf ft_lb ft_lbs ft_lbf lb/ft ft/lb",
    ),
    ("kilogram_force*meter", "kgf*m kgf-m kgfm kgm kg-m kg*m mkg kpm"),
    ("horsepower", "hp bhp whp hp(uk) hp(us) hp_mech mechanicalhp"),
    ("metric_horsepower", "ps cv ch pk hp_metric metrichp hp(m) km_power metric_hp"),
    ("kilowatt", "kw kilowatt"),
    ("watt", "w watt"),
    ("megawatt", "mw"),
    ("kilometer/hour", "km/h kmh kph kmph km/hr kmh-1"),
    ("mile/hour", "mph mi/h mi/hr miles/h miles/hr mile/h"),
    ("meter/second", "m/s m/sec ms-1"),
    ("knot", "kn knot knots"),
    ("foot/second", "ft/s fps"),
    (
        "rpm",
        "rpm 1/min min-1 min^-1 /min u/min r/min rev/min revs/min tr/min upm 1/minute rev/minute "
        "revolutions/min",
    ),
    ("kilorpm", "krpm rpmx1000 x1000rpm rpm*1000 1000rpm 1000/min x1000/min"),
    ("revolution/second", "rps rev/s revs/s rev/sec u/s"),
    ("radian/second", "rad/s rad/sec"),
    ("degree", "deg ° degree degrees °ca degca degcrk °crk °btdc °atdc"),
)

REFERENCES: tuple[tuple[str, str], ...] = (
    (GAUGE, "gauge gage rel relative g ga ü rel."),
    (ABSOLUTE, "absolute abs abs. a"),
)
# Signs that stand for others in print and in logs.
LOOK_ALIKES = str.maketrans(
    {"·": "*", "⋅": "*", "∙": "*", "²": "2", "³": "3", "µ": "u", "μ": "u", "º": "°", "˚": "°",
     "−": "-", "“": '"', "”": '"', "″": '"', "¹": "1", "⁻": "-"}
)  # fmt: skip
