# What the uncertainty of one result is made of: shares of its variance, the largest first.
set xlabel "share of the variance in per cent"
set xrange [0 : 100]
set yrange [rows + 0.6 : 0.4]
set ytics scale 0 noenhanced
set grid noytics
set lmargin at screen from_left(470)
set rmargin at screen from_left(width - 230)
small(u) = u < 0.0001 ? "below 0.0001 " : sprintf("%#.2g ", u) # no exponents
data = name . ".tsv"

do for [ending in endings] {
    eval open_of(ending)
    set label 9001 font font_of(ending, fitting(28, title_columns))
    set output into . name . "." . ending
    plot data using ($2 == 0 ? 0 : NaN):1:(0):3:($1 - 0.32):($1 + 0.32) with boxxyerror \
             fs solid 1 border lc rgb blue lc rgb blue title "from repeated readings", \
         data using ($2 == 1 ? 0 : NaN):1:(0):3:($1 - 0.32):($1 + 0.32) with boxxyerror \
             fs transparent pattern 4 border lc rgb rust lc rgb rust title "from what else is known", \
         data using ($2 == 2 ? 0 : NaN):1:(0):3:($1 - 0.32):($1 + 0.32) with boxxyerror \
             fs empty border lc rgb ink lc rgb ink title rest > 0 ? "all others" : "", \
         data using 3:1:(($3 < 0.1 ? "below 0.1 %" : sprintf("%.1f %%", $3)) . ",  " . small(of($4)) . unit) with labels left offset char 0.8, 0 \
             textcolor rgb ink notitle
    unset output
}
