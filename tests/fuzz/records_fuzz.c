/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Records that passed the door, into every reader. Any bytes are a document, whose hashes are made
   to fit; what import takes is shown, exported and drawn. */
#include <ctype.h>
#include <dirent.h>

#include "document.h"
#include "drawing.h"
#include "report/items.h"
#include "upthrust/calibration.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* ---- what is written is harmless where it goes ---- */

/* No control character reaches a terminal, and all of it is UTF-8. */
static void must_suit_a_terminal(const char *text, size_t length) {
    json_t *letters = json_stringn(text, length); /* refuses what is not UTF-8 */
    must(letters != NULL);
    json_decref(letters);
    for (size_t i = 0; i < length; i++) {
        must((unsigned char)text[i] >= ' ' || text[i] == '\n');
        must(text[i] != 0x7F);
    }
}

/* RFC 4180: as many fields in each row as in the first, none of which a spreadsheet computes. */
static void must_be_a_table(const char *text, size_t length) {
    size_t fields = 0, first = 0;
    bool quoted = false, begins = true;
    for (size_t i = 0; i < length; i++) {
        must((unsigned char)text[i] >= ' ' || text[i] == '\r' || text[i] == '\n');
        if (begins && (text[i] == '"' || !quoted)) {
            const char *at = text + i + (text[i] == '"');
            char *end = NULL;
            double number = *at == '-' || *at == '+' ? strtod(at, &end) : 0;
            must(strchr("=@\t", *at) == NULL);
            must((*at != '-' && *at != '+') || (end != NULL && end > at && isfinite(number)));
        }
        begins = false;
        if (text[i] == '"') {
            quoted = !quoted;
        } else if (!quoted && (text[i] == ',' || text[i] == '\n')) {
            fields++;
            begins = true;
        }
        if (!quoted && text[i] == '\n') {
            must(i > 0 && text[i - 1] == '\r' && (first == 0 || fields == first));
            first = fields;
            fields = 0;
        }
    }
    must(!quoted && fields == 0);
}

static void must_be_clean(const char *text, size_t length) {
    for (size_t i = 0; i < length; i++) {
        must((unsigned char)text[i] >= ' ' || text[i] == '\n' || text[i] == '\t');
    }
}

static void each_file(const char *directory, const char *ending,
                      void (*check)(const char *text, size_t length)) {
    DIR *stream = opendir(directory);
    const struct dirent *entry;
    must(stream != NULL);
    while ((entry = readdir(stream)) != NULL) {
        size_t length = strlen(entry->d_name), size = 0;
        if (length > strlen(ending) &&
            strcmp(entry->d_name + length - strlen(ending), ending) == 0) {
            char *path = up_text_format("%s/%s", directory, entry->d_name);
            char *text = shelf_read(path, &size);
            check(text, size);
            free(text);
            free(path);
        }
    }
    closedir(stream);
}

/* ---- the readers ---- */

struct page {
    FILE *stream;
    char *text;
    size_t length;
};

static void page_begin(struct page *page) {
    page->stream = open_memstream(&page->text, &page->length);
    must(page->stream != NULL);
}

static void page_end(struct page *page) {
    must(fclose(page->stream) == 0);
    must_suit_a_terminal(page->text, page->length);
    free(page->text);
}

static void must_hold(bool good, const struct up_failure *failure) {
    if (!good) {
        must_be_a_line(failure);
    }
}

static void show_item(struct up_catalogue *catalogue, const struct up_record *record) {
    static const struct up_style style = {.imperial = false}, other = {.imperial = true};
    struct up_failure failure = {0};
    struct up_item item;
    must(up_item_from_json(record->content, &item));
    snprintf(item.id, sizeof item.id, "%s", record->subject);
    struct page page;
    page_begin(&page);
    must_hold(up_sheet_print(catalogue, &item, &style, page.stream, &failure), &failure);
    must_hold(up_sheet_print(catalogue, &item, &other, page.stream, &failure), &failure);
    page_end(&page);
    json_t *sheet = up_sheet_to_json(catalogue, &item, &failure);
    must_hold(sheet != NULL, &failure);
    json_decref(sheet);
}

static void explain(struct up_catalogue *catalogue, const struct up_record *record) {
    static const struct up_style style = {.imperial = false};
    struct up_failure failure = {0};
    json_t *way = up_explain(catalogue, record->subject, NULL, &failure);
    must_hold(way != NULL, &failure);
    if (way != NULL) {
        struct page page;
        page_begin(&page);
        up_explain_print(way, &style, page.stream);
        page_end(&page);
    }
    json_decref(way);
}

static void keep(json_t *list, const struct up_record *record) {
    json_array_append_new(
        list, json_pack("{s:s, s:O}", "subject", record->subject, "content", record->content));
}

static bool note_current(const struct up_record *record, void *context) {
    keep(context, record);
    return true;
}

static void each_current(struct up_catalogue *catalogue, const char *kind,
                         void (*read)(struct up_catalogue *catalogue,
                                      const struct up_record *record)) {
    struct up_failure failure;
    json_t *list = json_array(), *entry;
    size_t i;
    must(up_catalogue_each(catalogue, kind, note_current, list, &failure));
    json_array_foreach(list, i, entry) {
        struct up_record record = {.content = json_object_get(entry, "content")};
        snprintf(record.subject, sizeof record.subject, "%s", up_record_text(entry, "subject"));
        read(catalogue, &record);
    }
    json_decref(list);
}

static void read_calibration(struct up_catalogue *catalogue, const struct up_record *record) {
    struct up_failure failure = {0};
    struct up_calibration calibration;
    must_hold(up_calibration_latest(catalogue, up_record_text(record->content, "bench"),
                                    &calibration, &failure),
              &failure);
    if (up_calibration_from_json(record->content, &calibration)) {
        must(calibration.slope_counts_per_kg != 0);
    }
}

static void read_reference(struct up_catalogue *catalogue, const struct up_record *record) {
    struct up_failure failure = {0};
    struct up_past_check *past = NULL;
    struct up_chart chart;
    size_t count = 0;
    must_hold(up_reference_checks(catalogue, record->subject, NULL, &past, &count, &failure),
              &failure);
    free(past);
    must_hold(up_reference_chart(catalogue, record->subject, NULL, &chart, &failure), &failure);
}

static void list_all(struct up_catalogue *catalogue) {
    static const struct up_style style = {.columns = 80};
    static const char *const text[] = {"fin"};
    const struct up_choice any = {.sort = "newest"},
                           some = {.text = text, .texts = 1, .sort = "up"};
    struct up_failure failure = {0};
    struct page page;
    page_begin(&page);
    must_hold(up_items_print(catalogue, &some, &style, page.stream, &failure), &failure);
    must_hold(up_items_print(catalogue, &any, &style, page.stream, &failure), &failure);
    page_end(&page);
    json_t *decisions = up_decisions_later(catalogue, &failure);
    must_hold(decisions != NULL, &failure);
    json_decref(decisions);
}

static void draw_all(struct up_catalogue *catalogue) {
    struct up_failure failure = {0};
    struct up_rows rows = {0};
    struct up_items items = {0};
    const struct up_choice any = {0};
    const struct up_view view = {{"fresh", "sea"}, "items", false};
    unsigned count = 0, pages;
    bool drawn;
    shelf_remove("plots");
    must(mkdir("plots", 0700) == 0);
    bool good = up_rows_load(catalogue, &rows, &failure);
    must_hold(good, &failure);
    must_hold(good && up_plot_write(&rows, NULL, PLOTS_IN("plots"), &pages, &failure), &failure);
    must_hold(up_items_load(catalogue, &rows, &any, &items, &failure), &failure);
    must_hold(items.count == 0 ||
                  (up_plot_write_sizes(&rows, &items, &view, PLOTS_IN("plots"), &drawn, &failure) &&
                   up_plot_write_benches(catalogue, &items, PLOTS_IN("plots"), &drawn, &failure)),
              &failure);
    for (size_t i = 0; i < items.count && i < 1; i++) { /* not each can be drawn */
        up_plot_write_item(catalogue, &rows, &items.item[i], NULL, PLOTS_IN("plots"), &failure);
    }
    for (enum up_group_by by = UP_GROUP_MODEL; by <= UP_GROUP_SIZE; by++) {
        struct up_rows groups;
        up_rows_group(&rows, &items, by, &view, &groups);
        up_rows_release(&groups);
    }
    up_items_release(&items);
    up_rows_release(&rows);
    must_hold(up_plot_write_calibrations(catalogue, PLOTS_IN("plots"), &count, &failure), &failure);
    must_hold(up_plot_write_references(catalogue, PLOTS_IN("plots"), &count, &failure), &failure);
    each_file("plots", ".gp", must_be_clean);
    each_file("plots", ".tsv", must_be_clean);
}

static void read_all(struct up_catalogue *catalogue) {
    struct up_failure failure = {0};
    list_all(catalogue);
    each_current(catalogue, "item", show_item);
    each_current(catalogue, "result", explain);
    each_current(catalogue, "calibration", read_calibration);
    each_current(catalogue, "reference", read_reference);
    must(up_export_csv(catalogue, "csv", &failure));
    must(up_export_json(catalogue, "out", &failure));
    each_file("csv", ".csv", must_be_a_table);
    draw_all(catalogue);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    static struct shelf shelf;
    struct up_failure failure = {0};
    struct up_intake intake;
    if (shelf.mine == NULL) {
        shelf_enter();
        shelf_begin(&shelf, "mine", true);
    }
    json_t *document = size > 1 ? json_loadb((const char *)data + 1, size - 1, 0, NULL) : NULL;
    if (json_is_object(document)) {
        document_mend(document);
        char *text = json_dumps(document, JSON_COMPACT | JSON_REAL_PRECISION(17));
        shelf_write("in.json", text, strlen(text));
        free(text);
        shelf_try(&shelf);
        if (up_catalogue_import(shelf.mine, "in.json", false, &intake, &failure) &&
            intake.fresh > 0) {
            read_all(shelf.mine);
        }
        shelf_forget(&shelf);
    }
    json_decref(document);
    return 0;
}
