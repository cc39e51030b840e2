# One look for all pictures, between the lines that are of one picture and its template. Drawn again
# otherwise: gnuplot -d -e "ground = 'dark'; sheet = 'a4'" NAME.gp. Words have a contrast of 4.5 : 1
# at least on either ground. Blue, rust and plum stay apart for eyes that mix red and green; they
# only repeat what a shape, a fill, a dash or a word says, so grey print loses nothing.
set datafile separator tab
set datafile missing "nan"
set minussign
set format "%h" # the usual one has a blank before the number, which puts it beside its tick
if (!exists("into")) { into = "" }
if (!exists("ground")) { ground = "light" }
if (!exists("sheet")) { sheet = "screen" }
dark = ground eq "dark"
a4 = sheet eq "a4"
paper = dark ? "#14181c" : "#ffffff"
ink = dark ? "#f0f0f0" : "#202020"
grey = dark ? "#b4b8bc" : "#585858"
rule = dark ? "#454b52" : "#d0d0d0"
band = dark ? "#343b43" : "#e0e0e0"
blue = dark ? "#7cc4ff" : "#0060a0"
rust = dark ? "#ffb070" : "#b04800"
plum = dark ? "#dcb0f4" : "#7a3090"
if (!exists("endings")) { endings = a4 ? "svg png pdf" : "svg png" }
# A4 lies; items.gp has it stand.
width = 1400
height = a4 ? 990 : 900
a4_width_cm = 29.7
a4_height_cm = 21.0

# The SVG of gnuplot draws marks twice as large as its PNG.
mark(size) = ending eq "svg" ? 0.55 * size : size
# A length in pixels of the screen in the units of each terminal's fonts.
font_of(ending, pixels) = sprintf("sans,%.3f", ending eq "svg" ? pixels : 0.75 * pixels)
lines_of(ending) = sprintf(" font '%s' background '%s' enhanced", font_of(ending, 19), paper)
png_scale = a4 ? 2.5 : 1 # 300 dots an inch
pdf_scale = a4_width_cm / 2.54 * 96 / width
open_of(ending) = ending eq "svg" ? sprintf("set terminal svg size %d, %d", width, height) . lines_of(ending) : \
    ending eq "png" ? sprintf("set terminal pngcairo size %d, %d fontscale %g linewidth %g pointscale %g", \
        width * png_scale, height * png_scale, png_scale, png_scale, png_scale) . lines_of(ending) : \
    sprintf("set terminal pdfcairo size %gcm, %gcm fontscale %g linewidth %g pointscale %g", \
        a4_width_cm, a4_height_cm, 0.75 * pdf_scale, 1.1 * pdf_scale, 0.75 * pdf_scale) . lines_of(ending)
from_top(pixels) = 1 - pixels / (1.0 * height)
from_left(pixels) = pixels / (1.0 * width)
# Data are in SI units; these show them in the units of who reads.
unit = imperial ? "oz" : "g"
units = imperial ? "ounces" : "grams"
density_unit = imperial ? "lb/ft³" : "kg/m³"
of(grams) = grams / unit_g
bare(grams) = sprintf(!imperial ? "%.1f" : of(grams) < 0.005 && of(grams) >= 0.0005 ? "%.3f" : "%.2f", of(grams))
signed(grams) = (shown_as = bare(abs(grams)), (grams < 0 && shown_as + 0 > 0 ? "−" : "+") . shown_as)
interval(u, stuck) = stuck < 0.05 ? sprintf(" ± %s %s", bare(u), unit) : \
    sprintf(" +%s −%s %s", bare(u), bare(u + stuck), unit)
limit(grams) = imperial ? bare(grams) . " oz" : sprintf("%g g", grams)
temp(c) = imperial ? sprintf("%.1f °F", 1.8 * c + 32) : sprintf("%g °C", c)
depth(m) = imperial ? sprintf("%.1f ft", m / m_per_ft) : sprintf("%g m", m)
of_kind(kind, wanted, value) = kind == wanted ? value : NaN
fitting(pixels, columns) = columns * pixels * 0.6 > width - 60 ? (width - 60) / (0.6 * columns) : pixels

set border 3 lc rgb ink lw 1.5
set xtics nomirror textcolor rgb ink
set ytics nomirror textcolor rgb ink
set grid lt 1 lc rgb rule lw 0.7
set xlabel textcolor rgb ink
set ylabel textcolor rgb ink
set key textcolor rgb ink samplen 2 width 1 Left reverse noenhanced
set bars 0.6
set style fill solid 1 noborder
# Above all, what it is a picture of; below, what may be claimed of it. Again where the size changes.
foot = 24.0 * |standing| + 44
place_words = 'do for [i = 1:|standing|] { set label 9010 + i standing[i] at screen 0.5, (foot - 24.0 * i + 2) / height center noenhanced textcolor rgb ink };' \
    . ' set label 9010 "A weight check in the water decides." at screen 0.5, 18.0 / height center noenhanced textcolor rgb ink;' \
    . ' set label 9001 title_words at screen 0.5, from_top(40) center noenhanced textcolor rgb ink;' \
    . ' set label 9002 note_words at screen 0.5, from_top(76) center noenhanced textcolor rgb ink;' \
    . ' set bmargin at screen (foot + 84) / height; pdf_scale = a4_width_cm / 2.54 * 96 / width'
eval place_words
set key at screen 0.5, from_top(92) center top horizontal
set tmargin at screen from_top(166)
set lmargin at screen from_left(130)
set rmargin at screen from_left(width - 40)
