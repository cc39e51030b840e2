/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "truth_cells.h"
#include "embedded.h"
static struct truth_table t;
int main(int argc, char **argv) {
    unsigned n = argc > 1 ? (unsigned)atoi(argv[1]) : 20; unsigned draws = argc > 2 ? (unsigned)atoi(argv[2]) : 2000;
    struct up_failure f; static struct up_rig rig;
    up_rig_parse("simulated.ini", embedded_simulated_ini, &rig, &f);
    struct truth_settings s = {.rig = &rig, .draws = draws};
    for (unsigned k = 0; k < TRUTH_TANKS; k++) for (unsigned i = 0; i < n; i++) if (!truth_session(&s, k, 1 + i + 100000 * k, &t, &f)) { printf("%s\n", f.text); return 1; }
    for (unsigned k = 0; k < TRUTH_TANKS; k++) for (unsigned i = 0; i < TRUTH_ITEMS; i++) {
      for (unsigned m = 0; m < TRUTH_MODES; m++) {
        for (unsigned w = 0; w < 2; w++) { struct truth_tally *c = &t.ours[k][i][m][w]; double r = c->results;
          if (w == 0) printf("%-13s %-11s %-5s", truth_kinds[k].name, truth_items[i].name, truth_modes[m]);
          printf(" | %.4f b%+.3f rms%.3f z%.2f w%.3f und%.2f t%.1f %4.0fs r%.2f", c->inside/r, c->error_g/r, sqrt(c->error_squares_g2/r), sqrt(c->ratio_squares/r), c->wrong/r, c->undecided/r, c->trials/r, c->seconds/r, c->rectangular/r); }
        printf("\n"); }
      struct truth_tally *c = &t.plain[k][i][3]; double r = c->results;
      printf("    plain: %.4f b%+.3f rms%.3f w%.3f %4.0fs ; 12: %.4f %.0fs\n", c->inside/r, c->error_g/r, sqrt(c->error_squares_g2/r), c->wrong/r, c->seconds/r, t.plain[k][i][12].inside/r, t.plain[k][i][12].seconds/r);
    }
    double m = t.share/t.sessions; printf("all %.4f sd %.4f n %.0f\n", m, sqrt(t.share_squares/t.sessions-m*m), t.sessions);
    for (unsigned m2 = 0; m2 < TRUTH_MODES; m2++) for (unsigned w = 0; w < 2; w++) { double in=0, r=0, wr=0; for (unsigned k = 0; k < TRUTH_TANKS; k++) for (unsigned i = 0; i < TRUTH_ITEMS; i++) { struct truth_tally *c=&t.ours[k][i][m2][w]; in+=c->inside; r+=c->results; wr+=c->wrong;} printf("mode %s water %u: %.4f wrong %.4f\n", truth_modes[m2], w, in/r, wr/r);}
    for (unsigned i = 0; i < TRUTH_ITEMS; i++) {printf("%-12s", truth_items[i].name); for (unsigned m2 = 0; m2 < TRUTH_MODES; m2++) for (unsigned w = 0; w < 2; w++) { double in=0, r=0; for (unsigned k = 0; k < TRUTH_TANKS; k++) { struct truth_tally *c=&t.ours[k][i][m2][w]; in+=c->inside; r+=c->results;} printf(" %.4f", in/r);} printf("\n");}
    return 0;
}
