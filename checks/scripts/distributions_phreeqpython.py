"""Species distributions with PHREEQC (phreeqpython), for distributions_phreeqpython.rs.

The data base is written here, with the constants of our reference files and nothing else, so that two programs solve one
model: Davies equation for ions, lg g = 0.1 I for uncharged species, water at 25 degC.
"""

import os
import tempfile

from phreeqpython import PhreeqPython

DATABASE = """
SOLUTION_MASTER_SPECIES
H H+ -1 H 1.008
H(0) H2 0 H
H(1) H+ -1 0
E e- 0 0 0
O H2O 0 O 16.0
O(0) O2 0 O
O(-2) H2O 0 0
Na Na+ 0 Na 22.99
Cl Cl- 0 Cl 35.45
Ntr Ntr- 0 Ntr 62.0
P PO4-3 0 P 31.0
C CO3-2 0 C 12.0
Cit Cit-3 0 Cit 189.0
Edta Edta-4 0 Edta 288.0
Amm Amm 0 Amm 17.0
Ca Ca+2 0 Ca 40.08
Zn Zn+2 0 Zn 65.38
Ag Ag+ 0 Ag 107.87
SOLUTION_SPECIES
H+ = H+
  log_k 0
e- = e-
  log_k 0
H2O = H2O
  log_k 0
H2O = OH- + H+
  log_k -13.9945
2 H2O = O2 + 4 H+ + 4 e-
  log_k -86.08
2 H+ + 2 e- = H2
  log_k -3.15
Na+ = Na+
  log_k 0
Cl- = Cl-
  log_k 0
Ntr- = Ntr-
  log_k 0
PO4-3 = PO4-3
  log_k 0
PO4-3 + H+ = HPO4-2
  log_k 12.375
PO4-3 + 2 H+ = H2PO4-
  log_k 19.573
PO4-3 + 3 H+ = H3PO4
  log_k 21.721
CO3-2 = CO3-2
  log_k 0
CO3-2 + H+ = HCO3-
  log_k 10.329
CO3-2 + 2 H+ = CO2 + H2O
  log_k 16.681
Cit-3 = Cit-3
  log_k 0
Cit-3 + H+ = HCit-2
  log_k 6.396
Cit-3 + 2 H+ = H2Cit-
  log_k 11.157
Cit-3 + 3 H+ = H3Cit
  log_k 14.285
Edta-4 = Edta-4
  log_k 0
Edta-4 + H+ = HEdta-3
  log_k 10.948
Edta-4 + 2 H+ = H2Edta-2
  log_k 17.221
Edta-4 + 3 H+ = H3Edta-
  log_k 20.340
Edta-4 + 4 H+ = H4Edta
  log_k 22.500
Edta-4 + 5 H+ = H5Edta+
  log_k 24.000
Amm = Amm
  log_k 0
Amm + H+ = AmmH+
  log_k 9.244
Ca+2 = Ca+2
  log_k 0
Ca+2 + Edta-4 = CaEdta-2
  log_k 12.42
Ca+2 + H2O = CaOH+ + H+
  log_k -12.697
Zn+2 = Zn+2
  log_k 0
Zn+2 + H2O = ZnOH+ + H+
  log_k -8.997
Zn+2 + Amm = ZnAmm+2
  log_k 2.21
Zn+2 + 2 Amm = ZnAmm2+2
  log_k 4.50
Zn+2 + 3 Amm = ZnAmm3+2
  log_k 6.86
Zn+2 + 4 Amm = ZnAmm4+2
  log_k 8.89
Zn+2 + Edta-4 = ZnEdta-2
  log_k 18.0
Ag+ = Ag+
  log_k 0
Ag+ + H2O = AgOH + H+
  log_k -11.997
Ag+ + Cl- = AgCl
  log_k 3.31
Ag+ + 2 Cl- = AgCl2-
  log_k 5.25
Ag+ + 3 Cl- = AgCl3-2
  log_k 5.20
Ag+ + Amm = AgAmm+
  log_k 3.31
Ag+ + 2 Amm = AgAmm2+
  log_k 7.22
PHASES
AgCl(s)
AgCl = Ag+ + Cl-
  log_k -9.75
END
"""

# name in PHREEQC: label here
LABEL = {
    "HPO4-2": "HPO4^2-", "H2PO4-": "H2PO4-", "H3PO4": "H3PO4", "CO3-2": "CO3^2-", "HCO3-": "HCO3-", "CO2": "CO2",
    "Cit-3": "Cit^3-", "HCit-2": "HCit^2-", "H2Cit-": "H2Cit-", "H3Cit": "H3Cit", "CaEdta-2": "CaY^2-", "Ca+2": "Ca^2+",
    "HEdta-3": "HY^3-", "Edta-4": "Y^4-", "Amm": "NH3", "AmmH+": "NH4+", "Zn+2": "Zn^2+", "ZnAmm3+2": "Zn(NH3)3^2+",
    "ZnAmm4+2": "Zn(NH3)4^2+", "ZnEdta-2": "ZnY^2-", "Ag+": "Ag+", "AgCl": "AgCl(aq)", "AgCl2-": "AgCl2-",
    "AgCl3-2": "AgCl3^2-", "AgAmm2+": "Ag(NH3)2+",
}

CASES = {
    "phosphate": ({"P": 0.05, "Na": 0.075}, ["H3PO4", "H2PO4-", "HPO4-2"], None),
    "citrate": ({"Cit": 0.02, "Na": 0.03}, ["H3Cit", "H2Cit-", "HCit-2", "Cit-3"], None),
    "carbonate": ({"C": 0.025, "Na": 0.05, "Cl": 0.01}, ["CO2", "HCO3-", "CO3-2"], None),
    "calcium": ({"Ca": 0.01, "Cl": 0.07, "Edta": 0.008, "Na": 0.016, "Amm": 0.15}, ["Ca+2", "CaEdta-2", "HEdta-3", "Amm"], None),
    "zinc": ({"Zn": 0.001, "Cl": 0.022, "Amm": 0.12}, ["Zn+2", "ZnAmm3+2", "ZnAmm4+2", "AmmH+"], None),
    "silver": ({"Ag": 0.0001, "Ntr": 0.0001, "Na": 0.3, "Cl": 0.3}, ["Ag+", "AgCl", "AgCl2-", "AgCl3-2"], None),
    "silver chloride": ({"Ag": 0.01, "Ntr": 0.01, "Na": 0.02, "Cl": 0.02}, ["Ag+", "AgCl", "AgCl2-"], "AgCl(s)"),
    "silver chloride in ammonia": ({"Ag": 0.01, "Ntr": 0.01, "Na": 0.01, "Cl": 0.01, "Amm": 0.1}, ["Ag+", "AgAmm2+"], "AgCl(s)"),
}


def main():
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "ours.dat")
        with open(path, "w", encoding="utf-8") as file:
            file.write(DATABASE)
        phreeqc = PhreeqPython(database="ours.dat", database_directory=__import__("pathlib").Path(folder))
        for name, (totals, species, solid) in CASES.items():
            solution = phreeqc.add_solution({"units": "mol/kgw", "temp": 25, "pH": "7 charge", **totals})
            if solid:
                solution.equalize([solid], [0])
            print(f'("{name}", "pH", {solution.pH:.3f}),')
            for label in species:
                print(f'("{name}", "{LABEL[label]}", {solution.species_molalities[label]:.3e}),')


if __name__ == "__main__":
    main()
