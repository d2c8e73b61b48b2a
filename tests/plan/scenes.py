"""A small invented trial to judge before cutting."""

TYPES = ("plain", "plated", "double", "shower")


def trial_text(sheets=3, specimens=3, types=4, expected=True, plan="", factors=True, mounts=1):
    """A trial of some types that differ in plating only, on two factors with three levels."""
    lines = ['[trial]\ntitle = "t"\nquestion = "q"', '[application]\nmaterial = "S235"\nthickness_mm = 12.0']
    lines.append('gas = "oxygen"\n[held]\nspeed_m_min = 1.0')
    for i, name in enumerate(TYPES[:types]):
        pieces = [f"{name[:2].upper()}{i}{n}" for n in range(specimens)]
        lines.append(f'[[nozzles]]\ntype = "{name}"\norifice_mm = 1.4\nspecimens = {pieces}')
        lines.append(f"today = {str(i == 0).lower()}\nplated = {str(i % 2 == 1).lower()}")
    if factors:
        lines.append('[factors.pressure]\nunit = "bar"\nlevels = [0.5, 0.7, 0.9]')
        lines.append('[factors.standoff]\nunit = "mm"\nlevels = [0.6, 1.0, 1.4]')
    lines.append(f"[plan]\nsheets = {sheets}\nmounts_per_specimen = {mounts}\nseed = 5\n{plan}")
    lines.append('[responses.roughness]\nprimary = true\nreadings = 3\nworthwhile = "15 %"')
    if expected:
        lines.append('[responses.roughness.expected]\nlevel = 40.0\nspecimen = "8 %"\ncoupon = "10 %"\nreading = "7 %"')
    return "\n".join(lines)
