# Size against net buoyancy within one model: the middle one of each size, with a bar from the lowest
# interval to the highest.
set ylabel "net buoyancy in " . units . "   (+ floats)"
set xrange [0.4 : sizes + 0.6]
set xtics scale 0 noenhanced
if (sizes * name_columns > 100) { set xtics rotate by 30 right; set bmargin at screen (foot + 60 + 5.5 * name_columns) / height }
set grid noxtics
set offsets 0, 0, graph 0.08, graph 0.08
set xzeroaxis lt 1 lc rgb ink lw 1.5
set tmargin at screen from_top(184)
data = name . ".tsv"
array shape[8] = [13, 9, 7, 11, 12, 8, 6, 10]
array colour[3] = [blue, rust, ink]
shift(s) = s == 1 ? -0.15 : s == 2 ? 0.15 : 0
array water[2] = [first_water, second_water]

do for [ending in endings] {
    eval open_of(ending)
    set label 9001 font font_of(ending, fitting(28, title_columns))
    set output into . name . "." . ending
    plot data using 2:(0):($2 - 0.42):($2 + 0.42):(-of($6)):(of($6)) with boxxyerror fs solid 1 noborder lc rgb band notitle, \
         for [s = 1:3] data using ($1 == s ? $2 + shift(s) : NaN):(of($3)):(of($4)):(of($5)) with yerrorbars pt -1 lw 3 lc rgb colour[s] notitle, \
         for [s = 1:3] for [c = 0:3] data using ($1 == s && $7 == c ? $2 + shift(s) : NaN):(of($3)) with points \
             pt shape[c + (s == 2 ? 5 : 1)] ps mark(2.2) lw 2.5 lc rgb colour[s] notitle, \
         keyentry with points pt 9 ps mark(2) lc rgb ink title "positive", \
         keyentry with points pt 7 ps mark(2) lc rgb ink title "neutral", \
         keyentry with points pt 11 ps mark(2) lc rgb ink title "negative", \
         keyentry with points pt 13 ps mark(2) lc rgb ink title "undecided, or they differ", \
         for [s = 1:2] keyentry with points pt (s == 1 ? 7 : 6) ps mark(2) lw 2.5 lc rgb colour[s] title water[s]
    unset output
}
