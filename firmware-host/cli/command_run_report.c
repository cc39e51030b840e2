/* SPDX-License-Identifier: GPL-3.0-or-later */
/* report: one weighing on paper. */
#include "cli.h"
#include "run_report/run_report.h"
#include "text/text.h"

const struct option_text options_report[] = {
    {"run", "ID|latest", "which run of `measure`: its id, the beginning of it, or the latest"},
    {"to", "FILE", "FILE.pdf"},
    OPTION_UNITS,
    OPTION_CATALOGUE,
    OPTION_END};

bool command_report(struct call *call) {
    const char *run = option_value(call, "run"), *file = option_value(call, "to");
    struct up_style style;
    struct up_run_report_drawn drawn;
    if (run == NULL || file == NULL) {
        return refuse(call, "report: give --run ID, or --run latest, and --to FILE.pdf");
    }
    bool good = style_asked(call, &style) && open_catalogue(call, UP_CATALOGUE_READ) &&
                up_run_report_draw(call->catalogue, run, &style, file, &drawn, call->failure);
    if (good) {
        up_text_print(stdout, "%s: run %.8s, %u pages\n", file, drawn.run_id, drawn.pages);
    }
    if (good && drawn.lacks_a_glyph) {
        up_text_print(stderr, "note: no font of this machine has every character of it: install "
                              "one that has, for example Debian's fonts-noto-core\n");
    }
    return good;
}
