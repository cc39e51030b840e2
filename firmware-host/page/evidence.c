/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How each result that is shown came about, gathered in one reading of the catalogue. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "page/internal.h"
#include "signing/signing.h"
#include "text/text.h"

struct gather {
    json_t *wanted, *found;
    const struct up_style *style;
};

/* ---- one line of it ---- */

static void begin(FILE *stream, const char *term) {
    fprintf(stream, "<dt>%s</dt><dd>", term);
}

static void put_text(FILE *stream, const char *term, const char *text) {
    if (text[0] != '\0') {
        begin(stream, term);
        page_put(stream, text);
        fputs("</dd>\n", stream);
    }
}

static void put_number(FILE *stream, const char *term, double value, const char *unit) {
    if (isfinite(value)) {
        begin(stream, term);
        fprintf(stream, "%.5g%s</dd>\n", value, unit);
    }
}

/* ---- budget: what rules it ---- */

enum { LARGEST = 3 };

/* Each entry once: the largest that is smaller than the one before it, or as large and later. */
static const json_t *next_largest(const json_t *budget, double before, size_t before_place,
                                  size_t *place) {
    const json_t *entry, *largest = NULL;
    double share = -1;
    size_t i;
    json_array_foreach(budget, i, entry) {
        double own = up_record_number(entry, "share_of_variance");
        bool after = own < before || (own == before && i > before_place);
        if (after && own > share) {
            largest = entry;
            share = own;
            *place = i;
        }
    }
    return largest;
}

static void put_budget(FILE *stream, const json_t *budget) {
    double share = (double)INFINITY;
    size_t place = 0;
    if (json_array_size(budget) == 0) {
        return;
    }
    begin(stream, "What rules the uncertainty");
    for (int i = 0; i < LARGEST; i++) {
        const json_t *entry = next_largest(budget, share, place, &place);
        share = up_record_number(entry, "share_of_variance");
        if (!(share >= 0.01)) {
            break;
        }
        fputs(i == 0 ? "" : ", ", stream);
        page_put(stream, up_record_text(entry, "name"));
        fprintf(stream, " %.0f %%", 100 * share);
    }
    fputs("</dd>\n", stream);
}

/* ---- one result ---- */

static void put_shown(FILE *stream, const char *term, double value, const char *shown) {
    UP_FREED char *typeset = up_typeset(up_text_format("%s", shown));
    put_text(stream, term, isfinite(value) ? typeset : "");
}

/* What it weighs and displaces: of a fin some kilograms, of a mask some hundred grams. */
static void put_body(FILE *stream, const json_t *content, const struct up_style *style) {
    double volume_m3 = up_record_number(content, "volume_m3"),
           mass_g = 1e3 * up_record_number(content, "mass_kg");
    if (style->imperial) {
        char mass[UP_SHOWN_SIZE];
        up_style_uncertainty(style, mass_g, mass);
        double in_m = UP_M_PER_FT / 12;
        put_number(stream, "Volume", volume_m3 / (in_m * in_m * in_m), " in³");
        put_shown(stream, "Mass", mass_g, mass);
    } else {
        put_number(stream, "Volume", 1e3 * volume_m3, " L");
        put_number(stream, "Mass", mass_g / 1e3, " kg");
    }
}

static void put_result(FILE *stream, const struct up_record *record, const struct up_style *style) {
    const json_t *content = record->content;
    double u_g = up_record_number(content, "u_buoyancy_g"),
           density_kg_m3 = up_record_number(content, "water_density_kg_m3");
    char shown[UP_SHOWN_SIZE];
    put_text(stream, "How", up_record_text(content, "basis"));
    put_text(stream, "Weighing", up_claim_is_quick(content) ? UP_CLAIM_QUICK : "");
    put_text(stream, "Put aside", up_record_text(content, "put_aside"));
    put_number(stream, "Trials", up_record_number(content, "trials"), "");
    UP_FREED char *u =
        up_text_format("%.2g %s", up_style_in_unit(style, u_g), up_style_unit(style));
    put_text(stream, "Standard uncertainty", isfinite(u_g) ? u : "");
    put_text(stream, "Interval by", up_record_text(content, "interval_by"));
    put_budget(stream, json_object_get(content, "budget"));
    up_style_density(style, density_kg_m3, shown);
    put_shown(stream, "Density of the water", density_kg_m3, shown);
    put_body(stream, content, style);
    put_text(stream, "Calibration",
             up_record_text(json_object_get(content, "model"), "calibration_id"));
    put_text(stream, "Bench", record->bench);
    put_text(stream, "Run", up_record_text(content, "run_id"));
    put_text(stream, "Made", record->made_utc);
    char signer[UP_CLAIM_SIZE];
    up_claim_signer(record->writer, record->sequence,
                    record->envelope != NULL &&
                        up_signature_holds(record->writer, record->sha256, record->signature),
                    signer);
    put_text(stream, "Signature", signer);
    begin(stream, "Result");
    page_put(stream, record->subject);
    fputs("; <code>upthrust explain</code> shows every number</dd>\n", stream);
}

static bool take(const struct up_record *record, void *context) {
    struct gather *gather = context;
    char *text = NULL;
    size_t size;
    if (json_object_get(gather->wanted, record->subject) == NULL) {
        return true;
    }
    FILE *stream = open_memstream(&text, &size);
    if (stream != NULL) {
        fputs("<dl>\n", stream);
        put_result(stream, record, gather->style);
        fputs("</dl>\n", stream);
    }
    if (stream == NULL || fclose(stream) != 0) {
        up_out_of_memory();
    }
    json_object_set_new_nocheck(gather->found, record->subject, json_string_nocheck(text));
    free(text);
    return true;
}

json_t *page_evidence(struct up_catalogue *catalogue, const struct up_rows *rows,
                      const struct up_style *style, struct up_failure *failure) {
    struct gather gather = {json_object(), json_object(), style};
    for (size_t i = 0; i < rows->count; i++) {
        json_object_set_new_nocheck(gather.wanted, rows->row[i].result_id, json_true());
    }
    bool good = up_catalogue_each(catalogue, "result", take, &gather, failure);
    json_decref(gather.wanted);
    if (!good) {
        json_decref(gather.found);
    }
    return good ? gather.found : NULL;
}
