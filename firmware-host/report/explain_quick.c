/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How a quick result came about, with enough numbers to redo its interval with a calculator. */
#include "report/explain_quick.h"

#include <math.h>
#include <string.h>

#include "bench/quick.h"
#include "catalogue/claim.h"
#include "catalogue/records.h"
#include "text/memory.h"
#include "text/text.h"

static double number(const json_t *json, const char *key) {
    return up_record_number(json, key);
}

static unsigned count(const json_t *json, const char *key) {
    return (unsigned)json_integer_value(json_object_get(json, key));
}

static void put_history(FILE *stream, const json_t *quick) {
    unsigned immersions = count(quick, "immersions"), shakes = count(quick, "shakes"),
             readings = count(quick, "readings");
    fprintf(stream,
            UP_CLAIM_QUICK ":\n  %u immersion%s, %u shake%s, %u reading%s of which %u ended before "
                           "the full schedule; look %u of %d\n",
            immersions, up_text_plural(immersions), shakes, up_text_plural(shakes), readings,
            up_text_plural(readings), count(quick, "readings_ended_early"), count(quick, "look"),
            UP_QUICK_ANALYSES);
    if (number(quick, "dry_mass_kg") > 0) {
        fprintf(stream, "  dry by another scale: %.4f kg, standard uncertainty %.4f kg\n",
                number(quick, "dry_mass_kg"), number(quick, "u_dry_mass_kg"));
    }
}

static void put_bounds(FILE *stream, const json_t *quick) {
    double early_g = number(quick, "early_g"), margin_g = number(quick, "margin_g");
    fprintf(stream,
            "  either way: e = %.4f g, of readings that ended early (%.4f g) and of what no "
            "reading shows (%.4f g)\n",
            early_g + margin_g, early_g, margin_g);
    if (json_is_true(json_object_get(quick, "at_most"))) {
        fputs("  air: nothing was shaken, so it may lift by any amount: there is no lower end\n",
              stream);
    } else {
        fprintf(stream, "  air that may still be in it, down only: a = %.4f g\n",
                number(quick, "air_g"));
    }
}

static void put_interval(FILE *stream, const char *what, double boundary, double low_g,
                         double high_g) {
    fprintf(stream, "  %s: ", what);
    if (isfinite(low_g)) {
        fprintf(stream, "b - %.4f u - e - a = %+.4f g to ", boundary, low_g);
    } else {
        fputs("at most ", stream);
    }
    fprintf(stream, "b + %.4f u + e = %+.4f g\n", boundary,
            isfinite(low_g) ? high_g : up_text_round_up(high_g, 1e4));
}

static void put_class(FILE *stream, const json_t *result) {
    UP_FREED struct up_result *read = up_allocate(1, sizeof *read);
    char why[UP_CLAIM_ASIDE_SIZE];
    up_result_from_json(result, read);
    up_claim_aside(read, why);
    fprintf(stream, "  neutral is within %g g, so the class is ", number(result, "tolerance_g"));
    up_text_put(stream, up_record_text(result, "class"), 0, false);
    fprintf(stream, "%s%s\n", why[0] != '\0' ? ";\n  " UP_CLAIM_PUT_ASIDE ": " : "", why);
}

void explain_quick_print(FILE *stream, const json_t *result) {
    const json_t *quick = json_object_get(result, "quick");
    char dof[24] = "infinite";
    if (json_is_number(json_object_get(result, "dof"))) {
        snprintf(dof, sizeof dof, "%.3g", number(result, "dof"));
    }
    put_history(stream, quick);
    fprintf(stream, "  b = %+.4f g, u = %.4f g, effective degrees of freedom %s\n",
            number(result, "buoyancy_g"), number(result, "u_buoyancy_g"), dof);
    put_bounds(stream, quick);
    put_interval(stream, "interval", number(quick, "boundary_interval"), number(quick, "low_g"),
                 number(quick, "high_g"));
    put_interval(stream, "for the class", number(quick, "boundary_class"),
                 number(quick, "class_low_g"), number(quick, "class_high_g"));
    fputs("    (boundaries of five looks by S. J. Pocock, 1977; Student's t at the same level)\n",
          stream);
    put_class(stream, result);
}
