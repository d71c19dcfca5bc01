"""
Published fits of rate models, with the rates that they give, and where they were read.

Parameters as typed into the R package devRate (inst/data, frareb/devRate commit
0671f63), from the papers named; where nothing else is said T is in degC and the rate
per day. The rates at 15, 20, 25 and 30 degC were computed apart from this project from
the equations as that package writes them, six digits. Several models were fitted to
the same animals, so a right equation agrees with its neighbours too.

A linear fit is given as the papers do, r = aa + bb T.
"""

FITS = """
lactin L1 lactin-1 rho=0.154034 Tm=38.953357 dT=6.467896
  0.138063 0.23632 0.376355 0.522408
lactin L1 lactin-2 rho=0.096314 Tm=44.51412 dT=10.074502 lambda=-0.238647
  0.11455 0.239657 0.382142 0.514191
lactin L1 logan-6 phi=0.545306 rho=0.153768 Tm=38.955903 dT=6.458533
  0.138024 0.236234 0.376195 0.522182
lactin L2 lactin-1 rho=0.154035 Tm=37.5261 dT=6.460183
  0.170955 0.287864 0.44527 0.579006
lactin L2 lactin-2 rho=0.105906 Tm=40.725042 dT=9.161844 lambda=-0.249972
  0.141899 0.290447 0.451943 0.569547
lactin L2 logan-6 phi=0.716037 rho=0.153872 Tm=37.526915 dT=6.454157
  0.170978 0.28789 0.445296 0.579038
lactin L3 lactin-1 rho=0.169451 Tm=36.397259 dT=5.883764
  0.137383 0.245955 0.399388 0.523718
lactin L3 lactin-2 rho=0.019087 Tm=36.873879 dT=1.690717 lambda=-1.212223
  0.119271 0.252515 0.397491 0.525994
lactin L3 logan-6 phi=0.584851 rho=0.169272 Tm=36.397124 dT=5.877274
  0.137408 0.246004 0.399473 0.523835
lactin L4 lactin-1 rho=0.166364 Tm=35.914673 dT=5.997446
  0.0944006 0.165189 0.260528 0.324665
lactin L4 lactin-2 rho=0.146066 Tm=36.643691 dT=6.813403 lambda=-0.051544
  0.0836167 0.164583 0.262862 0.321492
lactin egg lactin-1 rho=0.15543 Tm=38.048732 dT=6.421234
  0.0717046 0.122233 0.192376 0.258315
lactin egg lactin-2 rho=0.139034 Tm=38.890035 dT=7.16711 lambda=-0.02641
  0.0676877 0.122882 0.193857 0.256464
lactin egg logan-6 phi=0.220825 rho=0.154863 Tm=38.050106 dT=6.399328
  0.0717368 0.122277 0.192433 0.258385
aghdam all briere-1 a=2e-05 T0=9.6188 Tm=36.5508
  0.00749432 0.0168934 0.0261376 0.0312988
aghdam all briere-2 a=3.4e-05 T0=7.7659 Tm=34.126 m=3.8342
  0.00796555 0.0165966 0.0260771 0.0328213
aghdam all linear aa=-0.0165 bb=0.0017
  0.009 0.0175 0.026 0.0345
aghdam all lactin-2 rho=0.0018 Tm=43.0451 dT=2.2827 lambda=-1.0198
  0.00756281 0.0168113 0.0258293 0.0321221
aghdam all logan-6 phi=0.0118 rho=0.1704 Tm=36.1906 dT=5.7743
  0.0087011 0.015693 0.0256045 0.0334366
aghdam all taylor Rm=0.0316 Tm=29.9478 To=8.599
  0.00697465 0.0161836 0.026779 0.0315994
aghdam egg briere-1 a=0.0001453 T0=9.645 Tm=37.6185
  0.0555071 0.126308 0.198134 0.244902
aghdam egg briere-2 a=0.0002634 T0=7.9722 Tm=34.444 m=4.0547
  0.0577266 0.122417 0.195081 0.251459
aghdam egg linear aa=-0.1339 bb=0.013
  0.0611 0.1261 0.1911 0.2561
aghdam egg lactin-2 rho=0.0111 Tm=39.6357 dT=2.2536 lambda=-1.1216
  0.0595358 0.126716 0.195879 0.251962
aghdam egg logan-6 phi=0.0613 rho=0.1689 Tm=36.6712 dT=5.7836
  0.0641624 0.115989 0.190823 0.256331
aghdam egg taylor Rm=0.2468 Tm=30.9122 To=9.0574
  0.05274 0.119442 0.199445 0.245552
aghdam larva briere-1 a=4.022e-05 T0=8.8676 Tm=36.3525
  0.0170958 0.036212 0.0546546 0.0642665
aghdam larva briere-2 a=6.6e-05 T0=6.5188 Tm=33.9961 m=3.9298
  0.0177611 0.0348275 0.0533321 0.0661426
aghdam larva linear aa=-0.0301 bb=0.0033
  0.0194 0.0359 0.0524 0.0689
aghdam larva lactin-2 rho=0.0034 Tm=41.0808 dT=2.136 lambda=-1.0336
  0.0187172 0.0367058 0.0544989 0.0673611
aghdam larva logan-6 phi=0.0266 rho=0.1657 Tm=36.1734 dT=5.9324
  0.0188041 0.0331254 0.0527776 0.0672512
aghdam larva taylor Rm=0.0637 Tm=29.6918 To=8.766
  0.0156379 0.0345703 0.0551993 0.0636606
aghdam pupa briere-1 a=5.1e-05 T0=9.8042 Tm=37.2604
  0.0187534 0.0432063 0.06784 0.0832593
aghdam pupa briere-2 a=9e-05 T0=8.1904 Tm=34.3895 m=3.9046
  0.0196432 0.0420816 0.0671184 0.0860081
aghdam pupa linear aa=-0.0459 bb=0.0044
  0.0201 0.0421 0.0641 0.0861
aghdam pupa lactin-2 rho=0.0043 Tm=40.9746 dT=2.109 lambda=-1.0474
  0.0192202 0.0423491 0.0654786 0.083735
aghdam pupa logan-6 phi=0.0359 rho=0.1711 Tm=36.5002 dT=5.7683
  0.0221819 0.0402737 0.0664077 0.0888026
aghdam pupa taylor Rm=0.0836 Tm=30.6414 To=8.8934
  0.0178039 0.040861 0.0683644 0.0833829
kontodimas bisignatus linear aa=-0.0153 bb=0.0016
  0.0087 0.0167 0.0247 0.0327
kontodimas bisignatus lactin-2 rho=0.0017 Tm=39.6875 dT=1.5488 lambda=-1.0168
  0.00902778 0.0177814 0.0265346 0.0334677
kontodimas bisignatus logan-6 phi=0.0089 rho=0.1653 Tm=35.941 dT=5.8911
  0.00944664 0.0166151 0.0263493 0.0330609
kontodimas bisignatus taylor Rm=0.0338 Tm=32.4999 To=10.7097
  0.0088946 0.0171044 0.02645 0.0328916
kontodimas includens linear aa=-0.0222 bb=0.002
  0.0078 0.0178 0.0278 0.0378
kontodimas includens lactin-2 rho=0.0019 Tm=38.2976 dT=0.7152 lambda=-1.0214
  0.00751001 0.0173312 0.0272462 0.037246
kontodimas includens logan-6 phi=0.0504 rho=0.1611 Tm=38.7675 dT=6.1762
  0.010794 0.0191121 0.0314384 0.0448937
kontodimas includens taylor Rm=0.0441 Tm=34.9999 To=11.022
  0.00850093 0.017469 0.0292212 0.0397882
mironidis all linear aa=-0.0201 bb=0.0021
  0.0114 0.0219 0.0324 0.0429
mironidis all lactin-2 rho=0.002 Tm=45.1604 dT=1.8842 lambda=-1.0197
  0.0107544 0.021109 0.0315464 0.0417859
mironidis egg linear aa=-0.3013 bb=0.0252
  0.0767 0.2027 0.3287 0.4547
mironidis egg lactin-2 rho=0.0165 Tm=42.024 dT=2.0503 lambda=-1.1906
  0.0902156 0.200325 0.319494 0.44422
mironidis larva linear aa=-0.0442 bb=0.0042
  0.0188 0.0398 0.0608 0.0818
mironidis larva lactin-2 rho=0.0042 Tm=43.1521 dT=1.8197 lambda=-1.048
  0.0170266 0.0396253 0.0626548 0.0854116
mironidis pupa linear aa=-0.0529 bb=0.0052
  0.0251 0.0511 0.0771 0.1031
mironidis pupa lactin-2 rho=0.0053 Tm=43.3886 dT=1.6854 lambda=-1.0674
  0.0153455 0.0444207 0.074256 0.104491
regniere egg taylor Rm=0.19 Tm=29.7 To=9.5
  0.0573888 0.112815 0.168114 0.189905
regniere egg taylor Rm=0.194 Tm=24.5 To=7.6
  0.0888197 0.162807 0.193581 0.149306
"""
"""
Source, stage (or species of Nephus), model, parameters; below, rates at 15, 20, 25 and
30 degC.

lactin: Lactin, Holliday, Johnson & Craigen (1995) doi 10.1093/ee/24.1.68, Leptinotarsa
decemlineata. aghdam: Aghdam et al. (2009) doi 10.1603/022.038.0343, Cydia pomonella.
kontodimas: Kontodimas et al. (2004) doi 10.1603/0046-225X-33.1.1, Nephus. mironidis:
Mironidis & Savopoulou (2008) Environ Entomol 37:16-28, Helicoverpa armigera, constant
temperatures. regniere: Regniere et al. (2012) doi 10.1016/j.jinsphys.2012.01.010,
Choristoneura occidentalis and Dendroctonus ponderosae.
"""

TEMPERATURES = (15.0, 20.0, 25.0, 30.0)


def fits() -> list[tuple[str, str, str, dict[str, float], list[float]]]:
    """Source, stage, model, parameters as `calc rate` names them, and rates."""
    found = []
    lines = FITS.strip().splitlines()
    for left, right in zip(lines[::2], lines[1::2], strict=True):
        source, stage, name, *pairs = left.split()
        given = {key: float(value) for key, value in (p.split("=") for p in pairs)}
        if name == "linear":
            given = {"T0": -given["aa"] / given["bb"], "K": 1 / given["bb"]}
        found.append((source, stage, name, given, [float(n) for n in right.split()]))
    return found


AGREEMENT = {
    # source: highest over lowest of the models' rates at 20, 25 and 30 degC
    "lactin": 1.03,
    "aghdam": 1.12,
    "kontodimas": 1.21,
    "mironidis": 1.16,
}
"""How far models fitted to the same animals differ, as their parameters are printed."""

LACTIN_L4_LOGAN = {"phi": 0.783492, "rho": 0.166264, "Tm": 35.927247, "dT": 6.013279}
"""
Logan-6 of the fourth instar in the same paper, as typed: phi must be 10.783492.

As typed it is a fourteenth of what the other two models of the stage give.
"""

KIM_2001 = {
    "egg": {"p25": 0.1721, "HA": 22734.0133, "TH": 304.6372, "HH": 47922.0620},
    "larva": {"p25": 0.0668, "HA": 18455.2876, "TH": 304.2837, "HH": 46233.6512},
    "pupa": {"p25": 0.0855, "HA": 20026.8046, "TH": 304.5422, "HH": 131610.7072},
}
"""
Sharpe and Schoolfield's high-temperature form, Carposina sasakii: Kim et al. (2001) doi
10.1603/0046-225X-30.2.298. (The package has TH and HH in each other's column.)
"""

MIRONIDIS_ROOTS = {
    # stage: lower root, upper root, optimum
    "egg": (10.573, 39.996, 34.838),
    "larva": (11.163, 39.118, None),
    "pupa": (12.307, 40.002, None),
}
"""Thresholds of the Lactin-2 fits above, computed apart from this project. [degC]"""

BRIERE_OPTIMA = (
    ("briere-1", {"a": 2e-5, "T0": 9.6188, "Tm": 36.5508}, 30.3834),
    ("briere-2", {"a": 3.442e-5, "T0": 8.205, "Tm": 38.657, "m": 3.910}, 34.8014),
    ("briere-2", {"a": 3.4e-5, "T0": 7.7659, "Tm": 34.126, "m": 3.8342}, 30.7020),
)
"""Temperatures of the highest rate, computed apart from this project. [degC]"""

NOOR_2018 = (
    {"a": 3.442e-5, "T0": 8.205, "Tm": 38.657, "m": 3.910},
    {20: 55.9, 25: 32.6, 27.5: 30.1, 30: 26.8, 35: 21.6, 37.5: 25.5},
)
"""
Briere-2 of Helicoverpa armigera from egg to adult and the days that were observed,
digitised from a figure: Noor-ul-Ane et al. (2018), in R/devRate_harmigera.R of the
package. A reader of the figure found the fit within 9 %.
"""
