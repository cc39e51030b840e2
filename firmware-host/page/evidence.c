/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How each result that is shown came about, gathered in one reading of the catalogue. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "page/internal.h"
#include "text/text.h"

struct gather {
    json_t *wanted, *found;
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
        fprintf(stream, "%.6g%s</dd>\n", value, unit);
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

static void put_result(FILE *stream, const struct up_record *record) {
    const json_t *content = record->content;
    put_text(stream, "How", up_record_text(content, "basis"));
    put_text(stream, "Weighing", up_claim_is_quick(content) ? UP_CLAIM_QUICK : "");
    put_text(stream, "Put aside", up_record_text(content, "put_aside"));
    put_number(stream, "Trials", up_record_number(content, "trials"), "");
    put_number(stream, "Standard uncertainty", up_record_number(content, "u_buoyancy_g"), " g");
    put_text(stream, "Interval by", up_record_text(content, "interval_by"));
    put_budget(stream, json_object_get(content, "budget"));
    put_number(stream, "Density of the water", up_record_number(content, "water_density_kg_m3"),
               " kg/m<sup>3</sup>");
    put_number(stream, "Volume", 1e3 * up_record_number(content, "volume_m3"), " L");
    put_number(stream, "Mass", up_record_number(content, "mass_kg"), " kg");
    put_text(stream, "Calibration",
             up_record_text(json_object_get(content, "model"), "calibration_id"));
    put_text(stream, "Bench", record->bench);
    put_text(stream, "Run", up_record_text(content, "run_id"));
    put_text(stream, "Made", record->made_utc);
    char signer[UP_CLAIM_SIZE];
    up_claim_signer(record->writer, record->sequence, signer);
    put_text(stream, "Signed", signer);
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
        put_result(stream, record);
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
                      struct up_failure *failure) {
    struct gather gather = {json_object(), json_object()};
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
