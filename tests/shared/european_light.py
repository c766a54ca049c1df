"""Global light on the flat at places in Europe: what the climate table is held against.

RECORDED: monthly means [kWh/m2 a day], each worked out once from hours or days that a registry
package ships. Test reference years 2010 of the German weather service (made of 1988 to 2007), in
`pycity-base` 0.3.3: at Rostock, Hamburg, Potsdam, Chemnitz and Mannheim the light was measured, at
the others it is worked out from cloud. Measured days: Dhuenn (1996 to 2014) in `glm-py` 0.5.0,
Hupsel (2002 to 2004) and De Bilt (1993 to 2002) in `pyswap` 0.3.9; London (2012) in `supy`
2026.6.5; Wageningen (1976 to 1999) in `pcse` is added by `measured_days`.
REGIONS: monthly means [W/m2] of the regions of the United Kingdom, from satellites, each at a place
in the middle of its region: the government's standard procedure for rating the energy of dwellings,
2012, table U3, from memory.
NORMALS: a year's light [kWh/m2] at stations, as the national weather services publish it (1981 to
2010 or 1991 to 2020), from memory, rounded; each may be off by 4 %.
"""

import measured_days
import numpy as np

RECORDED = {
    "Bremerhaven": (53.53, 8.58, "0.46 1.15 2.00 4.15 4.49 4.70 4.86 4.21 2.75 1.69 0.73 0.39"),
    "Rostock": (54.18, 12.08, "0.45 0.96 2.65 4.31 4.55 5.92 5.31 4.59 2.79 1.86 0.72 0.28"),
    "Hamburg": (53.63, 10.00, "0.45 0.94 2.05 3.95 5.00 4.84 4.44 4.18 2.32 1.72 0.66 0.37"),
    "Potsdam": (52.38, 13.07, "0.70 1.06 2.33 4.56 5.32 5.81 5.05 4.33 3.07 1.86 0.74 0.41"),
    "Essen": (51.40, 6.97, "0.64 1.44 1.89 3.43 4.48 4.96 4.90 4.10 2.72 1.70 0.74 0.47"),
    "Marienberg": (50.67, 7.97, "0.66 1.54 2.11 3.53 4.12 5.17 4.85 4.25 2.91 1.57 0.74 0.48"),
    "Kassel": (51.30, 9.45, "0.71 1.35 2.87 3.39 4.22 5.43 4.80 4.42 2.82 1.54 0.86 0.47"),
    "Braunlage": (51.73, 10.60, "0.63 1.42 2.53 3.50 4.99 5.03 4.68 3.96 2.88 1.91 0.63 0.43"),
    "Chemnitz": (50.80, 12.87, "0.87 1.51 1.73 3.39 4.71 5.12 5.75 4.75 3.09 2.14 0.94 0.69"),
    "Hof": (50.32, 11.88, "0.58 1.27 2.76 3.70 4.73 5.45 5.34 4.72 2.64 1.40 0.90 0.57"),
    "Fichtelberg": (50.43, 12.95, "0.77 1.52 2.57 3.53 4.83 4.39 4.73 4.43 2.52 1.70 0.76 0.54"),
    "Mannheim": (49.52, 8.55, "0.80 1.41 3.14 3.32 4.63 5.91 5.33 4.58 2.86 2.15 0.91 0.66"),
    "Muehldorf": (48.28, 12.50, "1.03 1.27 2.56 3.37 5.19 5.26 5.23 4.44 3.21 2.05 0.96 0.59"),
    "Stoetten": (48.67, 9.87, "0.89 1.37 2.53 3.45 4.45 5.62 5.43 4.66 2.68 2.08 0.96 0.72"),
    "Garmisch": (47.48, 11.07, "1.08 1.62 2.51 3.53 4.80 5.20 5.18 4.84 3.04 2.12 1.49 1.02"),
    "Dhuenn": (51.07, 7.22, "0.62 1.16 2.19 3.58 4.31 4.92 4.51 3.98 2.75 1.58 0.71 0.44"),
    "Hupsel": (52.07, 6.66, "0.62 1.54 2.73 4.05 4.49 5.31 4.84 4.24 3.33 1.78 0.83 0.48"),
    "De Bilt": (52.10, 5.18, "0.64 1.22 2.19 3.50 4.65 4.90 4.72 4.17 2.69 1.58 0.77 0.46"),
    "London": (51.51, -0.12, "0.74 1.47 2.97 3.26 4.21 4.22 4.23 4.00 3.23 1.50 0.91 0.54"),
}
REGIONS = {
    "Thames": (51.5, -0.5, "30 56 98 157 195 217 203 173 127 73 39 24"),
    "South-east England": (51.0, 0.3, "32 59 104 170 208 231 216 182 133 77 41 25"),
    "South England": (50.8, -1.3, "35 62 109 172 209 235 217 185 138 80 44 27"),
    "South-west England": (50.6, -4.0, "36 63 111 174 210 233 204 182 136 78 44 28"),
    "Severn": (51.5, -2.7, "32 59 105 167 201 226 206 175 130 74 40 25"),
    "Midlands": (52.7, -1.5, "28 55 97 153 191 208 194 163 121 69 35 23"),
    "West Pennines": (53.4, -2.5, "24 51 95 152 191 203 186 152 115 65 31 20"),
    "North-west England": (54.8, -3.5, "23 51 95 157 200 203 194 156 113 62 30 19"),
    "Borders": (55.5, -2.3, "23 50 92 151 200 196 187 153 111 61 30 18"),
    "North-east England": (54.5, -1.5, "25 51 95 152 196 198 190 156 115 64 32 20"),
    "East Pennines": (53.4, -1.0, "26 54 96 150 192 200 189 157 115 66 33 21"),
    "East Anglia": (52.3, 1.0, "30 58 101 165 203 220 206 173 128 74 39 24"),
    "Wales": (52.5, -3.7, "29 57 104 164 205 220 199 167 120 68 35 22"),
    "West Scotland": (55.8, -4.5, "19 46 88 148 196 193 185 150 101 55 25 15"),
    "East Scotland": (56.4, -3.2, "21 46 89 146 198 191 183 150 106 57 27 15"),
    "North-east Scotland": (57.2, -2.6, "19 45 89 143 194 188 177 144 101 54 25 14"),
    "Highland": (57.5, -4.7, "17 43 85 145 189 185 170 139 98 51 22 12"),
    "Western Isles": (58.0, -7.0, "16 41 87 155 205 206 185 148 101 51 21 11"),
    "Orkney": (59.0, -3.0, "14 39 84 143 205 201 178 145 100 50 19 9"),
    "Shetland": (60.2, -1.2, "12 34 79 135 196 190 168 144 90 46 16 7"),
    "Northern Ireland": (54.7, -6.7, "24 52 96 155 201 198 183 150 107 61 30 18"),
}
NORMALS = {
    "Zurich": (47.38, 8.57, 1150), "Bern": (46.99, 7.46, 1220), "Basel": (47.54, 7.58, 1160),
    "Payerne": (46.81, 6.94, 1235), "Geneva": (46.25, 6.13, 1290), "Davos": (46.81, 9.84, 1440),
    "Altdorf": (46.89, 8.62, 1090), "Sion": (46.22, 7.33, 1410), "Locarno": (46.17, 8.79, 1340),
    "Vienna": (48.25, 16.36, 1150), "Salzburg": (47.8, 13, 1150),
    "Innsbruck": (47.26, 11.36, 1200), "Graz": (47.08, 15.45, 1200),
    "Trappes": (48.77, 2.01, 1090), "Strasbourg": (48.55, 7.63, 1140),
    "Nancy": (48.69, 6.22, 1130), "Dijon": (47.27, 5.09, 1230), "Rennes": (48.07, -1.73, 1200),
    "Brest": (48.44, -4.41, 1170), "Caen": (49.18, -0.46, 1150), "Lille": (50.57, 3.1, 1060),
    "Reims": (49.21, 4.16, 1130), "Limoges": (45.86, 1.18, 1280), "Lyon": (45.73, 5.08, 1330),
    "Bordeaux": (44.83, -0.69, 1350), "Warsaw": (52.28, 20.96, 1040),
    "Belsk": (51.83, 20.8, 1040), "Kolobrzeg": (54.18, 15.58, 1070),
    "Zakopane": (49.29, 19.96, 1030), "Gdynia": (54.5, 18.6, 1040),
    "Prague": (50.07, 14.43, 1050), "Hradec Kralove": (50.18, 15.84, 1090),
    "Kucharovice": (48.88, 16.09, 1160), "Ostrava": (49.7, 18.1, 1050),
    "Bratislava": (48.17, 17.1, 1180), "Budapest": (47.43, 19.18, 1240),
    "Taastrup": (55.67, 12.3, 1020), "Foulum": (56.49, 9.57, 1000), "Lund": (55.71, 13.21, 1020),
    "Goteborg": (57.69, 11.99, 985), "Vaxjo": (56.93, 14.73, 990),
    "Stockholm": (59.35, 18.06, 1000), "Visby": (57.67, 18.35, 1110),
    "Karlstad": (59.36, 13.47, 1000), "Borlange": (60.48, 15.43, 955),
    "Umea": (63.81, 20.24, 935), "As": (59.66, 10.78, 950), "Landvik": (58.34, 8.52, 1010),
    "Saerheim": (58.76, 5.65, 950), "Bergen": (60.38, 5.33, 775), "Kise": (60.77, 10.81, 950),
    "Helsinki": (60.32, 24.96, 975), "Jokioinen": (60.81, 23.5, 955), "Tartu": (58.3, 26.7, 985),
    "Valentia": (51.94, -10.24, 1010), "Dublin": (53.43, -6.25, 975), "Birr": (53.09, -7.88, 950),
    "Clones": (54.18, -7.23, 915), "Belmullet": (54.23, -10, 975),
    "Kilkenny": (52.67, -7.27, 980), "Malin Head": (55.37, -7.34, 930),
    "De Bilt": (52.1, 5.18, 1030), "De Kooy": (52.92, 4.78, 1095),
    "Vlissingen": (51.44, 3.6, 1110), "Maastricht": (50.91, 5.76, 1045),
    "Eelde": (53.12, 6.58, 1010), "Uccle": (50.8, 4.36, 1040), "Oostende": (51.2, 2.9, 1085),
    "Saint-Hubert": (50.04, 5.4, 1030), "Hamburg": (53.63, 10, 1000),
    "Bremen": (53.05, 8.8, 1000), "Schleswig": (54.53, 9.55, 1000), "List": (55.01, 8.41, 1070),
    "Norderney": (53.71, 7.15, 1040), "Braunschweig": (52.29, 10.45, 1030),
    "Bocholt": (51.83, 6.53, 1025), "Trier": (49.75, 6.66, 1090),
    "Wuerzburg": (49.77, 9.96, 1115), "Weihenstephan": (48.4, 11.73, 1170),
    "Hohenpeissenberg": (47.8, 11.01, 1195), "Freiburg": (48.02, 7.84, 1160),
    "Konstanz": (47.68, 9.19, 1170), "Stuttgart": (48.83, 9.2, 1130),
    "Nuernberg": (49.5, 11.05, 1100), "Saarbruecken": (49.21, 7.11, 1110),
    "Dresden": (51.13, 13.75, 1075), "Leipzig": (51.43, 12.24, 1060),
    "Lindenberg": (52.21, 14.12, 1070), "Potsdam": (52.38, 13.07, 1060),
    "Rostock": (54.18, 12.08, 1080), "Arkona": (54.68, 13.43, 1110), "Minsk": (53.9, 27.6, 1030),
    "Kyiv": (50.4, 30.5, 1170), "Moscow": (55.7, 37.5, 1010), "Lviv": (49.8, 24, 1110),
    "Chisinau": (47, 28.9, 1330), "Bucharest": (44.5, 26.1, 1390), "Cluj": (46.8, 23.6, 1270),
    "Belgrade": (44.8, 20.5, 1370), "Zagreb": (45.8, 16, 1240), "Ljubljana": (46.1, 14.5, 1210),
    "Milan": (45.5, 9.2, 1300), "Venice": (45.4, 12.3, 1340), "Toulouse": (43.6, 1.4, 1370),
    "La Coruna": (43.4, -8.4, 1340), "Santander": (43.5, -3.8, 1230),
    "San Sebastian": (43.3, -2, 1190), "Riga": (57, 24.1, 1000),
    "Kaliningrad": (54.7, 20.6, 1030), "Vilnius": (54.7, 25.3, 1000),
}  # fmt: skip
DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])

Place = tuple[float, float, np.ndarray]  # degrees north and east, Wh/m2 a day: twelve, or a year's


def _places() -> dict[str, Place]:
    light = measured_days.measured_wh()
    wageningen = measured_days.monthly_means_wh(light, np.full(light.size, True))
    monthly = {"Wageningen": (measured_days.LATITUDE, measured_days.LONGITUDE, wageningen)}
    for table, unit in ((RECORDED, 1000.0), (REGIONS, 24.0)):
        for name, (north, east, means) in table.items():
            monthly[name] = (north, east, unit * np.array(means.split(), dtype=float))
    yearly = {
        f"{name} (normal)": (north, east, np.array([year * 1000.0 / 365.0]))
        for name, (north, east, year) in NORMALS.items()
    }
    return monthly | yearly


def fitted_and_left_out() -> tuple[dict[str, Place], dict[str, Place]]:
    """The places from south to north, in turn: what the derate was fitted on, and what not."""
    places = sorted(_places().items(), key=lambda item: (item[1][0], item[0]))
    return dict(places[::2]), dict(places[1::2])
