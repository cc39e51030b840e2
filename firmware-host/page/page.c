/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which pages there are, how they are called, and that only what changed is written. */
#include <dirent.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "page/internal.h"
#include "text/text.h"

enum { ID_SHOWN = 8, UNPAGED = 1000 };

#define CAUTION                                                                                    \
    "<p class=\"check\">These numbers prepare a dive. A weight check in the water decides.</p>\n"  \
    "<p class=\"soft\">" UP_CLAIM_WHOSE " " UP_CAUTION_USE "</p>\n"

/* ---- names ---- */

/* Items whose id begins so: "" and the beginning for those of here, "<" for all. */
static char *beginning_of(const struct up_item *item, const char *whose) {
    return up_text_format("%s%.*s", whose, ID_SHOWN, item->id);
}

static void count_one(json_t *count, char *key) {
    json_object_set_new_nocheck(count, key,
                                json_integer(json_integer_value(json_object_get(count, key)) + 1));
    free(key);
}

/* Short where no other item's id begins alike; one of here keeps its name, whatever a guest's id.
 */
static json_t *name_files(const struct up_items *items) {
    json_t *count = json_object(), *name = json_object();
    for (size_t i = 0; i < items->count; i++) {
        const struct up_item *item = &items->item[i];
        count_one(count, beginning_of(item, "<"));
        if (!item->elsewhere) {
            count_one(count, beginning_of(item, ""));
        }
    }
    for (size_t i = 0; i < items->count; i++) {
        const struct up_item *item = &items->item[i];
        UP_FREED char *shown = beginning_of(item, "");
        UP_FREED char *key = beginning_of(item, item->elsewhere ? "<" : "");
        bool alone = json_integer_value(json_object_get(count, key)) == 1;
        json_object_set_new_nocheck(name, item->id, json_string_nocheck(alone ? shown : item->id));
    }
    json_decref(count);
    return name;
}

static json_t *slice_rows(const struct up_rows *rows) {
    json_t *slice = json_object();
    for (size_t i = rows->count; i-- > 0;) {
        json_object_set_new_nocheck(slice, rows->row[i].item_id, json_integer((json_int_t)i));
    }
    return slice;
}

const struct up_row *page_rows_of(const struct page *page, const char *item_id, size_t *count) {
    const json_t *from = json_object_get(page->slice, item_id);
    size_t begin = from != NULL ? (size_t)json_integer_value(from) : page->rows->count, end = begin;
    while (end < page->rows->count && strcmp(page->rows->row[end].item_id, item_id) == 0) {
        end++;
    }
    *count = end - begin;
    return page->rows->row + begin;
}

const char *page_name_of(const struct page *page, const char *item_id) {
    return up_record_text(page->file, item_id);
}

/* By maker and model: which items; NULL for an item of no model. */
static const json_t *items_of_model(const struct page *page, const struct up_item *item) {
    UP_FREED char *key = up_text_format("%s\n%s", item->maker, item->model);
    return json_object_get(page->model, key);
}

static const char *picture_of_model(const struct page *page, const struct up_item *item) {
    UP_FREED char *key = up_text_format("%s\n%s", item->maker, item->model);
    return json_string_value(json_object_get(page->picture, key));
}

const char *page_model_of(const struct page *page, const struct up_item *item) {
    const json_t *first = json_array_get(items_of_model(page, item), 0);
    return first == NULL ? "" : page_name_of(page, page->items->item[json_integer_value(first)].id);
}

static void gather_model(const struct up_items *items, size_t i, json_t *model) {
    const struct up_item *item = &items->item[i];
    UP_FREED char *key = up_text_format("%s\n%s", item->maker, item->model);
    json_t *of = json_object_get(model, key);
    if (item->model[0] != '\0' && of == NULL) {
        of = json_array();
        json_object_set_new_nocheck(model, key, of);
    }
    json_array_append_new(of, json_integer((json_int_t)i));
}

/* The first item gives its page the name: one of here. */
static json_t *gather_models(const struct up_items *items) {
    json_t *model = json_object();
    for (size_t i = 0; i < 2 * items->count; i++) {
        if (items->item[i % items->count].elsewhere == (i >= items->count)) {
            gather_model(items, i % items->count, model);
        }
    }
    return model;
}

/* ---- one file ---- */

struct job {
    const struct page *page;
    const char *directory;
    struct up_pages_written *written;
    struct up_failure *failure;
    json_t *names; /* of the files that are there now */
};

struct content {
    const char *text;
    size_t size;
};

static bool put_content(FILE *stream, void *context) {
    const struct content *content = context;
    return fwrite(content->text, 1, content->size, stream) == content->size;
}

static bool holds(const char *path, const struct content *content) {
    size_t length = 0;
    UP_FREED char *text = up_text_read_file(path, UP_LINKS_REFUSED, content->size, &length, NULL);
    return text != NULL && length == content->size && memcmp(text, content->text, length) == 0;
}

static bool write_page(struct job *job, const char *name,
                       void (*put)(const struct job *job, const void *what, FILE *stream),
                       const void *what) {
    UP_FREED char *path = up_text_format("%s/%s", job->directory, name);
    char *text = NULL;
    size_t size = 0;
    FILE *stream = open_memstream(&text, &size);
    if (stream != NULL) {
        put(job, what, stream);
    }
    if (stream == NULL || fclose(stream) != 0) {
        up_out_of_memory();
    }
    struct content content = {text, size};
    bool good = true;
    if (!holds(path, &content)) {
        good = up_text_write_file(path, put_content, &content, job->failure);
        job->written->changed++;
    }
    json_object_set_new_nocheck(job->names, name, json_true());
    if (job->page->wish->watch != NULL) {
        job->page->wish->watch("pages written", (unsigned long)json_object_size(job->names));
    }
    free(text);
    return good;
}

/* ---- items and models ---- */

static void put_item_page(const struct job *job, const void *what, FILE *stream) {
    const struct up_item *item = what;
    const char *model = page_model_of(job->page, item);
    page_put_head(stream, item->name, PAGE_PLAIN, "../index.html");
    page_put_symbols(stream);
    page_put_item(job->page, item, stream);
    if (model[0] != '\0') {
        fprintf(stream, "<p><a href=\"../m/%s.html\">All of this model</a></p>\n", model);
    }
    page_put_foot(stream, false);
}

static void put_model_page(const struct job *job, const void *what, FILE *stream) {
    const struct up_item *first = what;
    const json_t *list = items_of_model(job->page, first), *place;
    const char *picture = picture_of_model(job->page, first);
    UP_FREED const struct up_item **of = up_allocate(json_array_size(list), sizeof *of);
    UP_FREED char *title =
        up_text_format("%s%s%s", first->maker, first->maker[0] ? ", " : "", first->model);
    size_t i, count = json_array_size(list);
    json_array_foreach(list, i, place) {
        of[i] = &job->page->items->item[json_integer_value(place)];
    }
    page_put_head(stream, title, picture != NULL ? PAGE_SCRIPT_AND_PICTURE : PAGE_SCRIPT,
                  "../index.html");
    page_put_symbols(stream);
    fputs("<h1>", stream);
    page_put_name(stream, title);
    fprintf(stream, "</h1>\n<p>%zu %s of this model in the catalogue.</p>\n" CAUTION, count,
            count == 1 ? "item" : "items");
    page_put_table(job->page, of, count, "../", stream);
    if (picture != NULL) {
        fprintf(stream,
                "<p><img width=\"1400\" height=\"900\" alt=\"Size against net buoyancy; the table "
                "has its numbers.\" src=\"data:image/svg+xml;base64,%s\"></p>\n",
                picture);
    }
    page_put_foot(stream, true);
}

static bool write_parts(struct job *job) {
    const struct up_items *items = job->page->items;
    bool good = true;
    for (size_t i = 0; good && i < items->count; i++) {
        const struct up_item *item = &items->item[i];
        const char *name = page_name_of(job->page, item->id);
        UP_FREED char *file = up_text_format("i/%s.html", name);
        good = write_page(job, file, put_item_page, item);
        job->written->items++;
        if (good && item->model[0] != '\0' && strcmp(page_model_of(job->page, item), name) == 0) {
            UP_FREED char *model = up_text_format("m/%s.html", name);
            good = write_page(job, model, put_model_page, item);
            job->written->models++;
        }
    }
    return good;
}

/* ---- index ---- */

struct span {
    size_t from, to;
    unsigned number, numbers;
};

static char *index_name(unsigned number) {
    return number == 1 ? up_text_format("index.html") : up_text_format("index-%u.html", number);
}

static void put_ways(const struct span *span, FILE *stream) {
    if (span->numbers < 2) {
        return;
    }
    fputs("<nav aria-label=\"Pages\"><p>", stream);
    for (unsigned i = 1; i <= span->numbers; i++) {
        UP_FREED char *name = index_name(i);
        if (i == span->number) {
            fprintf(stream, "<b aria-current=\"page\">%u</b> ", i);
        } else {
            fprintf(stream, "<a href=\"%s\">%u</a> ", name, i);
        }
    }
    fputs("</p></nav>\n", stream);
}

static void put_search(const struct span *span, FILE *stream) {
    fprintf(stream,
            "<div class=\"tools\" hidden><label for=\"search\">Search%s</label>"
            "<input id=\"search\" type=\"search\" autocomplete=\"off\">\n"
            "<p id=\"said\" role=\"status\"></p></div>\n",
            span->numbers > 1 ? " this page" : "");
}

static void put_index(const struct job *job, const void *what, FILE *stream) {
    const struct span *span = what;
    const struct up_items *items = job->page->items;
    UP_FREED const struct up_item **of = up_allocate(items->count, sizeof *of);
    for (size_t i = span->from; i < span->to; i++) {
        of[i - span->from] = &items->item[i];
    }
    page_put_head(stream, "Net buoyancy of gear", PAGE_SCRIPT, NULL);
    page_put_symbols(stream);
    fprintf(stream, "<h1>Net buoyancy of gear</h1>\n<p>%zu %s.</p>\n" CAUTION, items->count,
            items->count == 1 ? "item" : "items");
    put_search(span, stream);
    put_ways(span, stream);
    page_put_table(job->page, of, span->to - span->from, "", stream);
    put_ways(span, stream);
    if (job->page->wish->data && !job->page->wish->single) {
        fputs("<p>For other programs: <a href=\"data/\">the catalogue as CSV and JSON, and the "
              "picture as a gnuplot script</a>.</p>\n",
              stream);
    }
    for (size_t i = 0; job->page->wish->single && i < items->count; i++) {
        fprintf(stream, "<article id=\"%s\">\n", page_name_of(job->page, items->item[i].id));
        page_put_item(job->page, &items->item[i], stream);
        fputs("</article>\n", stream);
    }
    page_put_foot(stream, true);
}

static bool write_indexes(struct job *job) {
    size_t count = job->page->items->count, each = count <= UNPAGED ? UNPAGED : UP_PAGE_ITEMS;
    struct span span = {.numbers = (unsigned)((count + each - 1) / each)};
    bool good = true;
    for (span.number = 1; good && span.number <= span.numbers; span.number++) {
        UP_FREED char *name = index_name(span.number);
        span.from = (span.number - 1) * each;
        span.to = span.from + each < count ? span.from + each : count;
        good = write_page(job, name, put_index, &span);
        job->written->indexes++;
    }
    return good;
}

static bool write_single(struct job *job) {
    size_t count = job->page->items->count;
    struct span span = {.to = count, .number = 1, .numbers = 1};
    UP_FREED char *text = NULL;
    size_t size = 0;
    FILE *stream = open_memstream(&text, &size);
    if (stream != NULL) {
        put_index(job, &span, stream);
    }
    if (stream == NULL || fclose(stream) != 0) {
        up_out_of_memory();
    }
    if (size > UP_PAGE_SINGLE_BYTES) {
        return up_fail(
            job->failure, UP_STATUS_WRONG_INPUT,
            "--single: one file of all %zu items takes %.1f MB, more than the %d MB that "
            "mail carries; one holds about %.0f of them: choose by --kind, --maker or words",
            count, (double)size / 1e6, UP_PAGE_SINGLE_BYTES / 1000000,
            (double)count * UP_PAGE_SINGLE_BYTES / (double)size);
    }
    job->written->items = (unsigned)count;
    return write_page(job, "index.html", put_index, &span) && (job->written->indexes = 1);
}

/* ---- what is no more ---- */

/* "i/3f2a1b00.html", "index-2.html": what a run before this one wrote. */
static bool is_ours(const char *folder, const char *name) {
    size_t digits = strspn(name, "0123456789abcdef-");
    return folder[0] != '\0'
               ? digits >= ID_SHOWN && strcmp(name + digits, ".html") == 0
               : strncmp(name, "index-", 6) == 0 && strspn(name + 6, "0123456789") > 0 &&
                     strcmp(name + 6 + strspn(name + 6, "0123456789"), ".html") == 0;
}

/* A page that leads nowhere now would go on saying what was true once. */
static void remove_old(struct job *job, const char *folder) {
    UP_FREED char *path = up_text_format("%s/%s", job->directory, folder);
    up_text_remove_left_over(path);
    DIR *directory = opendir(path);
    struct dirent *entry;
    while (directory != NULL && (entry = readdir(directory)) != NULL) {
        UP_FREED char *name = up_text_format("%s%s", folder, entry->d_name);
        UP_FREED char *file = up_text_format("%s/%s", job->directory, name);
        struct stat status;
        if (is_ours(folder, entry->d_name) && json_object_get(job->names, name) == NULL &&
            lstat(file, &status) == 0 && S_ISREG(status.st_mode) && unlink(file) == 0) {
            job->written->changed++;
        }
    }
    if (directory != NULL) {
        closedir(directory);
    }
}

/* ---- all ---- */

/* Within the folder, which may be shared, links lead to files of somebody else. */
static bool make_folder(const char *directory, const char *name, struct up_failure *failure) {
    UP_FREED char *path = up_text_format("%s%s", directory, name);
    return up_text_make_folder(path, name[0] != '\0' ? UP_LINKS_REFUSED : UP_LINKS_FOLLOWED,
                               failure);
}

bool up_pages_write(struct up_catalogue *catalogue, const struct up_rows *rows,
                    const struct up_items *items, const struct up_page_wish *wish,
                    const char *directory, struct up_pages_written *written,
                    struct up_failure *failure) {
    struct page page = {.rows = rows, .items = items, .wish = wish};
    struct job job = {&page, directory, written, failure, NULL};
    *written = (struct up_pages_written){0};
    if (items->count == 0) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "there is no item to show: add one with `upthrust item add`, or choose "
                       "others");
    }
    page.evidence = page_evidence(catalogue, rows, &wish->style, failure);
    page.slice = slice_rows(rows);
    page.file = name_files(items);
    page.model = gather_models(items);
    job.names = json_object();
    page.picture = wish->pictures ? page_pictures(&page, failure) : NULL;
    bool good = page.evidence != NULL && (!wish->pictures || page.picture != NULL) &&
                make_folder(directory, "", failure);
    good = good && (wish->single ? write_single(&job)
                                 : make_folder(directory, "/i", failure) &&
                                       make_folder(directory, "/m", failure) && write_parts(&job) &&
                                       write_indexes(&job));
    if (wish->watch != NULL) {
        wish->watch("pages written", 0);
    }
    if (good) {
        remove_old(&job, "i/");
        remove_old(&job, "m/");
        remove_old(&job, "");
    }
    json_decref(job.names);
    json_decref(page.evidence);
    json_decref(page.slice);
    json_decref(page.file);
    json_decref(page.model);
    json_decref(page.picture);
    return good;
}
