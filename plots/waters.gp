# Net buoyancy of one item over the density of the water, from fresh to the saltiest sea, at one
# temperature. Grey about the line: its 95 % interval. Long grey: the neutral band.
set xlabel has_line ? "density of the water in " . density_unit . ", all at " . temp(temp_c) : \
    "density of the water in " . density_unit
set ylabel "net buoyancy in " . units . "   (+ floats)"
set xrange [lightest / unit_kg_m3 : densest / unit_kg_m3]
set yrange [of(low_g) : of(high_g)]
set xzeroaxis lt 1 lc rgb ink lw 1.5
set tmargin at screen from_top(290)
data = name . ".tsv"
clipped(b) = of(b < low_g ? low_g : b > high_g ? high_g : b)
at(kg_m3) = kg_m3 / unit_kg_m3
set object 1 rectangle from graph 0, first clipped(-tolerance_g) to graph 1, first clipped(tolerance_g) \
    behind fillcolor rgb band fillstyle solid 1 noborder
set style fill transparent solid dark ? 0.4 : 0.28 noborder

do for [ending in endings] {
    eval open_of(ending)
    set label 9001 font font_of(ending, fitting(28, title_columns))
    set output into . name . "." . ending
    plot keyentry with boxes fillcolor rgb band fillstyle solid 1 title "neutral within " . limit(tolerance_g), \
         data using (at($2)):(of_kind($1, 0, of($3))):(of_kind($1, 0, of($4))) with filledcurves lc rgb blue \
             title has_line ? "calculated, 95 % interval" : "", \
         data using (at($2)):(of_kind($1, 1, of($3))) with lines lw 3 lc rgb blue notitle, \
         data using (at($2)):(of_kind($1, 3, of($3))):(0):(of_kind($1, 3, of($4))) with vectors nohead lw 3 dt 2 lc rgb rust \
             title changes > 0 ? "another class from here" : "", \
         data using (at($2)):(of_kind($1, 2, of($3))):(of($4)):(of($5)) with yerrorbars pt 7 ps mark(2) lw 3 lc rgb ink \
             title "measured in the tank, at " . temp(tank_c)
    unset output
}
