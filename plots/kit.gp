# Net lift of a diver by the gas that is left, at three depths, each with its 95 % band: known by its
# marks, its dashes and their order. The PDF is a page of A4 for the diver: words, and this picture.
set xlabel "pressure on the gauge in bar   (full at the left)"
set ylabel "net lift in " . lift_unit . "   (+ floats, − sinks)"
set xrange [full : 0]
set offsets 0, 0, graph 0.05, graph 0.05
set xzeroaxis lt 1 lc rgb ink lw 1.5
set key samplen 5
set style fill transparent solid dark ? 0.22 : 0.16 noborder
data = name . ".tsv"
array colour[3] = [blue, ink, rust]
array dash[3] = [1, 2, 4]
array shape[3] = [9, 6, 11]
lift(kg) = kg / unit_kg
line = lines > 46 ? 15 : 17
set_page = 'a4_width_cm = 21.0; a4_height_cm = 29.7; width = 1050; height = 1485; eval place_words;' \
    . ' do for [i = 1:lines] { set label 100 + i words[i] at screen from_left(70), from_top(36 + line * i) left noenhanced textcolor rgb ink font page_font(i) };' \
    . ' top = 60 + line * lines; set label 9001 at screen 0.5, from_top(top + 30); set label 9002 at screen 0.5, from_top(top + 62);' \
    . ' set key at screen 0.5, from_top(top + 84) font small width -1; do for [i = 1:|standing| + 1] { set label 9009 + i font small };' \
    . ' set label 9002 font small; set xtics font small; set ytics font small; set xlabel font small; set ylabel font small; set tmargin at screen from_top(top + 120);' \
    . ' set lmargin at screen from_left(140); set rmargin at screen from_left(width - 70)'
small = font_of("pdf", 15)
page_font(i) = sprintf("monospace%s,%.3f", i == 1 ? ":Bold" : "", 0.75 * (lines > 46 ? 12.4 : 14))
if (endings ne "svg") { endings = "svg png pdf" }

do for [ending in endings] {
    if (ending eq "pdf") { eval set_page }
    eval open_of(ending)
    set label 9001 font font_of(ending, ending eq "pdf" ? 24 : fitting(28, title_columns))
    set output into . name . "." . ending
    plot for [k = 1:3] data using 2:($1 == k ? lift($3) : NaN):(lift($4)) with filledcurves lc rgb colour[k] notitle, \
         for [k = 1:3] for [c = 3:4] data using 2:($1 == k ? lift(column(c)) : NaN) with lines lw 1 dt dash[k] lc rgb colour[k] notitle, \
         for [k = 1:3] data using 2:($1 == 3 + k ? lift($3) : NaN) with linespoints lw 3 dt dash[k] pt shape[k] ps mark(1.8) lc rgb colour[k] \
             title depth_words[k]
    unset output
}
