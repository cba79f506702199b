"""Numbers of nature and of conventions; each line: value, unit, source.

A test reads this file and fails where a constant has no source behind ``#``.
"""

# ---- physics ---------------------------------------------------------------------------------
SPEED_OF_LIGHT_M_S = 299792458.0  # m/s, exact; BIPM SI Brochure 9th ed.
GM_EARTH_M3_S2 = 3.986004418e14  # m3/s2; IERS Conventions (2010), table 1.1
GM_SUN_M3_S2 = 1.32712442099e20  # m3/s2; IERS Conventions (2010), table 1.1
GM_MOON_M3_S2 = 4.902800e12  # m3/s2; IERS Conventions (2010), table 1.1: mu 0.0123000371 of Earth
EARTH_ROTATION_RAD_S = 7.2921151467e-5  # rad/s; IS-GPS-200N, section 20.3.3.4.3
EARTH_RADIUS_M = 6378136.6  # m, equatorial; IERS Conventions (2010), table 1.1
J2_EARTH = 1.0826359e-3  # -; IERS Conventions (2010), table 1.1
ASTRONOMICAL_UNIT_M = 149597870700.0  # m, exact; IAU 2012 Resolution B2
INVERSE_BAROMETER_M_HPA = 0.01  # m/hPa, rise by air pressure's fall; Wunsch & Stammer (1997)
GRAVITY_M_S2 = 9.81  # m/s2; conventional, as in Vaughan (1995)
ICE_KG_M3 = 917.0  # kg/m3, glacier ice without bubbles; Cuffey & Paterson (2010), section 2.2
FRESH_WATER_KG_M3 = 1000.0  # kg/m3; Cuffey & Paterson (2010), section 2.2
SEA_WATER_KG_M3 = 1028.0  # kg/m3; Cuffey & Paterson (2010), section 2.2

# ---- ellipsoids ------------------------------------------------------------------------------
WGS84_A_M = 6378137.0  # m; NGA.STND.0036 (2014), table 3.1
WGS84_INVERSE_FLATTENING = 298.257223563  # -; NGA.STND.0036 (2014), table 3.1
GRS80_A_M = 6378137.0  # m; Moritz (2000), J. Geod. 74
GRS80_INVERSE_FLATTENING = 298.257222101  # -; Moritz (2000), J. Geod. 74

# ---- time ------------------------------------------------------------------------------------
NS_PER_S = 1_000_000_000  # ns/s; definition
NS_PER_DAY = 86_400 * NS_PER_S  # ns/d; definition
DAYS_PER_YEAR = 365.25  # d/a; definition of the Julian year
TAI_MINUS_GPS_S = 19.0  # s; IS-GPS-200N, section 3.3.4
TT_MINUS_TAI_S = 32.184  # s; IERS Conventions (2010), section 10.1
BDT_MINUS_GPS_S = -14.0  # s; BeiDou ICD B1I 3.0, section 3.3

# ---- carrier frequencies ---------------------------------------------------------------------
# Band digits are those of RINEX 3.05, section 5.2, table 4 ff.
FREQUENCY_HZ = {
    "G1": 1575.42e6,  # Hz; IS-GPS-200N, section 3.3.1.1
    "G2": 1227.60e6,  # Hz; IS-GPS-200N, section 3.3.1.1
    "G5": 1176.45e6,  # Hz; IS-GPS-705J, section 3.3.1.1
    "E1": 1575.42e6,  # Hz; Galileo OS SIS ICD 2.1, table 2
    "E5": 1176.45e6,  # Hz; Galileo OS SIS ICD 2.1, table 2 (E5a)
    "E7": 1207.14e6,  # Hz; Galileo OS SIS ICD 2.1, table 2 (E5b)
    "E8": 1191.795e6,  # Hz; Galileo OS SIS ICD 2.1, table 2 (E5)
    "E6": 1278.75e6,  # Hz; Galileo OS SIS ICD 2.1, table 2
    "R1": 1602.0e6,  # Hz at channel 0; GLONASS ICD 5.1, section 3.3.1.1
    "R2": 1246.0e6,  # Hz at channel 0; GLONASS ICD 5.1, section 3.3.1.1
    "R3": 1202.025e6,  # Hz; GLONASS ICD CDMA L3, section 3.1
    "C1": 1575.42e6,  # Hz; BeiDou ICD B1C 1.0, section 4.1
    "C2": 1561.098e6,  # Hz; BeiDou ICD B1I 3.0, section 4.1
    "C5": 1176.45e6,  # Hz; BeiDou ICD B2a 1.0, section 4.1
    "C6": 1268.52e6,  # Hz; BeiDou ICD B3I 1.0, section 4.1
    "C7": 1207.14e6,  # Hz; BeiDou ICD B2b 1.0, section 4.1
    "J1": 1575.42e6,  # Hz; IS-QZSS-PNT-005, section 3.1
    "J2": 1227.60e6,  # Hz; IS-QZSS-PNT-005, section 3.1
    "J5": 1176.45e6,  # Hz; IS-QZSS-PNT-005, section 3.1
    "J6": 1278.75e6,  # Hz; IS-QZSS-L6-005, section 4.1
    "S1": 1575.42e6,  # Hz; RINEX 3.05, table 7 (SBAS L1)
    "S5": 1176.45e6,  # Hz; RINEX 3.05, table 7 (SBAS L5)
    "I5": 1176.45e6,  # Hz; RINEX 3.05, table 10 (NavIC L5)
    "I9": 2492.028e6,  # Hz; RINEX 3.05, table 10 (NavIC S band)
    "C8": 1191.795e6,  # Hz; RINEX 3.05, table 9 (BeiDou B2)
}
GLONASS_STEP_HZ = {
    "R1": 562.5e3,  # Hz per channel; GLONASS ICD 5.1, section 3.3.1.1
    "R2": 437.5e3,  # Hz per channel; GLONASS ICD 5.1, section 3.3.1.1
}
