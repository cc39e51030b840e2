/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One weighing as a file: what stands in it is in sections.c. */
#include "run_report/run_report.h"

#include <cairo-pdf.h>
#include <string.h>

#include "report/glyphs.h"
#include "run_report/sections.h"
#include "text/text.h"

static cairo_status_t write_bytes(void *stream, const unsigned char *bytes, unsigned length) {
    return fwrite(bytes, 1, length, stream) == length ? CAIRO_STATUS_SUCCESS
                                                      : CAIRO_STATUS_WRITE_ERROR;
}

/* Returns how many pages it takes. */
static unsigned set(struct paper *paper, const struct facts *facts, const struct up_style *style) {
    paper_begin(paper);
    sections_put(paper, facts, style);
    paper_end(paper);
    return paper->page;
}

/* The date of the result, so that the same catalogue gives the same bytes. */
static void describe(cairo_surface_t *surface, const struct facts *facts, const char *title) {
    const char *made = up_record_text(facts->result[0], "made_utc");
    UP_FREED char *date = up_text_format("%.19sZ", made);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_TITLE, title);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATE_DATE, date);
}

static bool draw(const struct facts *facts, const struct up_style *style, FILE *stream,
                 struct up_run_report_drawn *drawn, struct up_failure *failure) {
    UP_FREED char *title = up_text_format("Report %s of a buoyancy measurement", facts->run_id);
    cairo_surface_t *surface = cairo_pdf_surface_create_for_stream(
        write_bytes, stream, PAPER_A4_WIDTH_PT, PAPER_A4_HEIGHT_PT);
    describe(surface, facts, title);
    struct paper paper = {.cairo = cairo_create(surface), .title = title};
    paper.context = pango_cairo_create_context(paper.cairo);
    paper.pages = set(&paper, facts, style);
    paper.draws = true;
    drawn->pages = set(&paper, facts, style);
    drawn->lacks_a_glyph = paper.lacks_a_glyph;
    g_object_unref(paper.context);
    cairo_destroy(paper.cairo);
    cairo_surface_finish(surface);
    cairo_status_t status = cairo_surface_status(surface);
    cairo_surface_destroy(surface);
    return status == CAIRO_STATUS_SUCCESS ||
           up_fail(failure, UP_STATUS_UNABLE, "the report cannot be drawn: %s",
                   cairo_status_to_string(status));
}

struct bytes {
    const char *text;
    size_t size;
};

static bool write_out(FILE *stream, void *context) {
    const struct bytes *bytes = context;
    return fwrite(bytes->text, 1, bytes->size, stream) == bytes->size;
}

static bool draw_file(const struct facts *facts, const struct up_style *style, const char *file,
                      struct up_run_report_drawn *drawn, struct up_failure *failure) {
    UP_FREED char *text = NULL;
    size_t size = 0;
    FILE *stream = open_memstream(&text, &size);
    bool good = stream != NULL && draw(facts, style, stream, drawn, failure);
    if (stream == NULL || fclose(stream) != 0) {
        up_out_of_memory();
    }
    struct bytes bytes = {text, size};
    return good && up_text_write_file(file, write_out, &bytes, failure);
}

bool up_run_report_draw(struct up_catalogue *catalogue, const char *run,
                        const struct up_style *style, const char *file,
                        struct up_run_report_drawn *drawn, struct up_failure *failure) {
    UP_FREED struct facts *facts = up_allocate(1, sizeof *facts);
    size_t length = strlen(file);
    *drawn = (struct up_run_report_drawn){.pages = 0};
    if (length < 5 || strcmp(file + length - 4, ".pdf") != 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s: a report is drawn as a file whose name ends with .pdf", file);
    }
    bool good = facts_gather(catalogue, run, facts, failure);
    memcpy(drawn->run_id, facts->run_id, sizeof drawn->run_id);
    good =
        good && glyphs_of_any_font(file, failure) && draw_file(facts, style, file, drawn, failure);
    facts_release(facts);
    return good;
}
