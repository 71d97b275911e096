"""Decodes the whole bulletins by the fixed columns measured in 2026 and prints counts and sums per level.

The figures in tests/published_bulletin.rs (INDEPENDENT) and counts.csv (option --csv) are this script's output. It shares no code with the crate:
the columns are written out here, while the crate takes them from the FT line.
"""
import sys, os
COLS = {3000:(4,8),6000:(9,16),9000:(17,24),12000:(25,32),18000:(33,40),24000:(41,48),30000:(49,55),34000:(56,62),39000:(63,69)}
here = os.path.dirname(os.path.abspath(__file__))
csv = "--csv" in sys.argv
if csv: print("file,level_ft,groups,with_temperature,light_and_variable,from_100_kt,sum_of_directions_deg,sum_of_speeds_kt,sum_of_temperatures_c")
files = sorted(os.path.join(here,f) for f in os.listdir(here) if f.startswith("FBUS")) if csv else sys.argv[1:] or [os.path.join(here,f) for f in ("FBUS31_FD1US1_2026-01-31_310158Z.txt","FBUS31_FD1US1_2026-04-30_302000Z.txt")]
for name in files:
    rows = [l.rstrip("\n") for l in open(name) if len(l)>20 and l[3]==" " and not l.startswith(("FT","000")) and l[:3].strip()!="" and l[:5]!="VALID"]
    if not csv: print(os.path.basename(name), len(rows), "rows")
    for lev,(a,b) in COLS.items():
        n=lv=wt=fast=0; dirs=kts=tc=0
        for r in rows:
            g=r[a:b].strip()
            if not g: continue
            n+=1
            dd,ff=int(g[:2]),int(g[2:4])
            if dd==99: lv+=1
            else:
                if dd>50: dd-=50; ff+=100
                dirs+=dd*10; kts+=ff; fast+=ff>=100
            if len(g)>4:
                wt+=1; tc+= int(g[4:]) if len(g)==7 else -int(g[4:])
        if csv: print(f"{os.path.basename(name)},{lev},{n},{wt},{lv},{fast},{dirs},{kts},{tc}")
        else: print(f"    ({lev}, {n}, {wt}, {lv}, {fast}, {dirs}, {kts}, {tc}),")
