# Net buoyancy of one item over the density of the water, from fresh to the saltiest sea, at one
# temperature. Grey about the line: its 95 % interval. Long grey: the neutral band.
set xlabel has_line ? sprintf("density of the water in kg/m³, all at %g °C", temp_c) : \
    "density of the water in kg/m³"
set ylabel "net buoyancy in grams   (+ floats)"
set xrange [lightest : densest]
set yrange [low_g : high_g]
set xzeroaxis lt 1 lc rgb ink lw 1.5
set tmargin at screen from_top(290)
data = name . ".tsv"
clipped(b) = b < low_g ? low_g : b > high_g ? high_g : b
set object 1 rectangle from graph 0, first clipped(-tolerance_g) to graph 1, first clipped(tolerance_g) \
    behind fillcolor rgb band fillstyle solid 1 noborder
set style fill transparent solid dark ? 0.4 : 0.28 noborder

do for [ending in endings] {
    eval open_of(ending)
    set label 9001 font font_of(ending, fitting(28, title_columns))
    set output into . name . "." . ending
    plot keyentry with boxes fillcolor rgb band fillstyle solid 1 title sprintf("neutral within %g g", tolerance_g), \
         data using 2:(of_kind($1, 0, $3)):(of_kind($1, 0, $4)) with filledcurves lc rgb blue \
             title has_line ? "calculated, 95 % interval" : "", \
         data using 2:(of_kind($1, 1, $3)) with lines lw 3 lc rgb blue notitle, \
         data using 2:(of_kind($1, 3, $3)):(0):(of_kind($1, 3, $4)) with vectors nohead lw 3 dt 2 lc rgb rust \
             title changes > 0 ? "another class from here" : "", \
         data using 2:(of_kind($1, 2, $3)):4:5 with yerrorbars pt 7 ps 2 lw 3 lc rgb ink \
             title sprintf("measured in the tank, at %g °C", tank_c)
    unset output
}
