"""Prints the table of checks/tests/molar_mass_periodictable.rs.

Made with periodictable 2.1.0 (pip install periodictable==2.1.0; python checks/scripts/molar_mass_periodictable.py).
Its parser and its table of atomic weights (CIAAW 2021, intervals abridged) are independent of this repository.
"""

import periodictable

FORMULAS = """
KHC8H4O4 Na2CO3 (CH2OH)3CNH2 C6H5COOH H2C2O4.2H2O H2C2O4 Na2B4O7.10H2O KH(IO3)2 NH2SO3H NaOH KOH HCl H2SO4 HNO3 HClO4
CH3COOH Na2C2O4 K2Cr2O7 KIO3 KBrO3 As2O3 KMnO4 Ce(SO4)2 (NH4)4Ce(SO4)4.2H2O (NH4)2Ce(NO3)6 Na2S2O3 Na2S2O3.5H2O I2
Fe(NH4)2(SO4)2.6H2O FeSO4.7H2O NaCl KCl Ag AgNO3 KSCN NH4SCN CaCO3 Zn Na2H2C10H12N2O8.2H2O ZnSO4.7H2O MgSO4.7H2O
Na2C4H4O6.2H2O H2O Na2CO3.10H2O K4[Fe(CN)6].3H2O KAl(SO4)2.12H2O Pb(NO3)2 Hg2Cl2 BaSO4 CuSO4.5H2O C6H8O7.H2O
C4H6O6 C4H6O5 C6H8O7 C3H6O3 C18H34O2 C16H32O2 C12H24O2 H3BO3 H3PO4 NH3 C9H8O4
""".split()

for formula in FORMULAS:
    # periodictable joins the parts of a hydrate with "+" and knows round brackets only.
    theirs = formula.replace(".", "+").replace("[", "(").replace("]", ")")
    print(f'    ("{formula}", {periodictable.formula(theirs).mass:.6f}),')
