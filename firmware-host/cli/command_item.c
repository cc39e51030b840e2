/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "catalogue/claim.h"
#include "cli.h"
#include "metrology/material.h"
#include "text/text.h"

const struct option_text options_item[] = {
    {"name", "TEXT", "add, edit: what people call it"},
    {"kind", "TEXT", "add, edit: fin, boot, hood, light, lead, ...; list: this one alone"},
    {"maker", "TEXT", "add, edit: who makes it; list: this one alone"},
    {"model", "TEXT", "add, edit: the maker's word for it; list: this one alone"},
    {"size", "TEXT", "add, edit: as printed on it; list: this one alone"},
    {"pair", NULL, "add, edit: two pieces, always hung together"},
    {"tolerance-g", "G",
     "add, edit: neutral is within this, at most 500, a pair 1000 (default: its kind's, else 50, a "
     "pair 100)"},
    {"expansion-per-k", "B", "add, edit: volume expansion (default 4.5e-4)"},
    {"material", "NAME", "add, edit: what it is made of, for its expansion"},
    {"u-expansion-per-k", "U", "add, edit: its standard uncertainty (default 0.9e-4)"},
    {"holds-gas", "yes|no|unknown",
     "add, edit: foam or closed air; then a result holds only at its depth (asked, except for "
     "kinds without gas)"},
    {"stock-number", "TEXT", "add, edit: your own number for it"},
    {"note", "TEXT", "add, edit: what else is worth knowing"},
    {"side", "left|right|none", "add, edit: which piece of a pair it is"},
    {"together", "NAME_OR_ID", "add, edit: one of several measured together (repeatable)"},
    {"single", NULL, "edit: one piece, no pair"},
    {"water", "NAME", "list: what has a result in this water (repeatable)"},
    {"class", "positive|neutral|negative|undecided", "list: what has a result of this class"},
    {"bench", "ID", "list: what was measured on the bench of this rig id"},
    {"sort", "name|kind|maker|model|size|up|newest",
     "list: in which order (up: the most buoyant first)"},
    {"retired", NULL, "list: retired items too"},
    OPTION_UNITS,
    OPTION_CATALOGUE,
    OPTION_JSON,
    OPTION_END};

static bool refuse_material(const char *name, struct up_failure *failure) {
    char list[400] = "";
    for (size_t i = 0; up_material_at(i) != NULL; i++) {
        size_t used = strlen(list);
        snprintf(list + used, sizeof list - used, "%s%s", i == 0 ? "" : ", ",
                 up_material_at(i)->name);
    }
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "--material %.40s: not known; give one of %s, or --expansion-per-k", name, list);
}

bool take_material(const struct arguments *arguments, double *expansion_per_k,
                   double *u_expansion_per_k, struct up_failure *failure) {
    const char *name = option_value(arguments, "material");
    if (name == NULL) {
        return true;
    }
    const struct up_material *material = up_material_named(name);
    if (material == NULL) {
        return refuse_material(name, failure);
    }
    if (option_given(arguments, "expansion-per-k") ||
        option_given(arguments, "u-expansion-per-k")) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "--material and --expansion-per-k say the same: keep one");
    }
    *expansion_per_k = up_material_expansion_per_k(material);
    *u_expansion_per_k = up_material_u_expansion_per_k(material);
    return true;
}

static bool read_side(const struct arguments *arguments, struct up_item *item,
                      struct up_failure *failure) {
    const char *side = option_value(arguments, "side");
    if (side == NULL) {
        return true;
    }
    item->side[0] = '\0';
    for (int i = 0; up_item_sides[i] != NULL; i++) {
        if (strcmp(up_item_sides[i], side) == 0) {
            snprintf(item->side, sizeof item->side, "%s", side);
        }
    }
    return item->side[0] != '\0' || strcmp(side, "none") == 0 ||
           up_fail(failure, UP_STATUS_WRONG_INPUT, "--side %.40s: write left, right or none", side);
}

/* What was not given is left alone. */
static bool read_given(const struct arguments *arguments, struct up_item *item,
                       struct up_failure *failure) {
    return take_material(arguments, &item->expansion_per_k, &item->u_expansion_per_k, failure) &&
           option_text_value(arguments, "name", item->name, failure) &&
           option_text_value(arguments, "kind", item->kind, failure) &&
           option_text_value(arguments, "maker", item->maker, failure) &&
           option_text_value(arguments, "model", item->model, failure) &&
           option_text_value(arguments, "size", item->size, failure) &&
           option_text_value(arguments, "stock-number", item->stock_number, failure) &&
           option_text_value(arguments, "note", item->note, failure) &&
           read_side(arguments, item, failure) &&
           option_number(arguments, "tolerance-g", UP_TOLERANCE_LEAST_G, UP_TOLERANCE_MOST_PAIR_G,
                         &item->tolerance_g, failure) &&
           option_number(arguments, "expansion-per-k", 0, 0.01, &item->expansion_per_k, failure) &&
           option_number(arguments, "u-expansion-per-k", 0, 0.01, &item->u_expansion_per_k,
                         failure);
}

static bool read_item(const struct arguments *arguments, struct up_item *item,
                      struct up_failure *failure) {
    bool pair = option_given(arguments, "pair");
    *item = (struct up_item){.pieces = pair ? 2 : 1,
                             .tolerance_g = pair ? UP_TOLERANCE_PAIR_G : UP_TOLERANCE_ONE_G,
                             .expansion_per_k = UP_EXPANSION_PER_K,
                             .u_expansion_per_k = UP_U_EXPANSION_PER_K};
    return read_given(arguments, item, failure);
}

/* Several things that hang together: each is an item of its own already. */
static bool read_together(const struct arguments *arguments, struct up_catalogue *catalogue,
                          struct up_item *item, struct up_failure *failure) {
    if (option_given(arguments, "together")) {
        item->parts = 0;
    }
    for (int i = 0; i < arguments->options; i++) {
        struct up_item part;
        if (strcmp(arguments->option[i].name, "together") != 0) {
            continue;
        }
        if (item->parts == UP_PARTS_MAX) {
            return up_fail(failure, UP_STATUS_WRONG_INPUT,
                           "--together: at most %d items are measured together", UP_PARTS_MAX);
        }
        if (!up_item_find(catalogue, arguments->option[i].value, &part, failure)) {
            return false;
        }
        for (int j = 0; j <= item->parts; j++) {
            if (strcmp(part.id, j < item->parts ? item->part_id[j] : item->id) == 0) {
                return up_fail(failure, UP_STATUS_WRONG_INPUT,
                               "--together %.80s: it is named twice, or is the item itself",
                               arguments->option[i].value);
            }
        }
        memcpy(item->part_id[item->parts++], part.id, sizeof part.id);
        item->compressible = item->compressible || part.compressible; /* a boot in a fin */
    }
    return item->parts != 1 ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "--together: name two items or more, each with a --together of its own");
}

/* What is set for its kind goes before the default for all. */
static bool take_kind_tolerance(const struct arguments *arguments, struct up_catalogue *catalogue,
                                struct up_item *item, struct up_failure *failure) {
    return option_given(arguments, "tolerance-g") ||
           up_kind_tolerance(catalogue, item->kind, item->pieces, &item->tolerance_g, failure);
}

static void print_labelled(const char *label, const char *text) {
    if (text[0] != '\0') {
        up_text_print(stdout, "  %s: %s\n", label, text);
    }
}

static void print_item(const struct up_item *item) {
    char pieces[UP_CLAIM_SIZE];
    up_claim_pieces(item->pieces, pieces);
    up_text_print(stdout, "%s  %s\n", item->id, item->name);
    up_text_print(stdout, "  %s, %s, maker %s, model %s, size %s\n", item->kind, pieces,
                  item->maker[0] ? item->maker : "-", item->model[0] ? item->model : "-",
                  item->size[0] ? item->size : "-");
    printf("  neutral within %.0f g; expands by %.3g per K (u %.2g)%s\n", item->tolerance_g,
           item->expansion_per_k, item->u_expansion_per_k,
           item->holds_gas == UP_GAS_UNKNOWN
               ? "; holds gas: unknown, which counts as yes: results hold only at their depth"
           : item->compressible ? "; holds gas: results hold only at their depth"
                                : "");
    print_labelled("side", item->side);
    print_labelled("stock number", item->stock_number);
    print_labelled("note", item->note);
    if (item->retired) {
        fputs("  retired: `upthrust item restore` brings it back\n", stdout);
    }
    for (int i = 0; i < item->parts; i++) {
        printf("%s%.8s%s", i == 0 ? "  measured together: " : ", ", item->part_id[i],
               i + 1 == item->parts ? "\n" : "");
    }
}

static void show_item(const struct up_item *item, bool json) {
    if (json) {
        json_t *document = up_item_to_json(item);
        json_object_set_new(document, "schema", json_string("upthrust-item-1"));
        json_object_set_new(document, "item_id", json_string(item->id));
        print_json(document);
    } else {
        print_item(item);
    }
}

/* Two of one name are allowed: a shop has several of a kind. A person is asked first; others get a
   note. */
static bool meet_look_alike(const struct arguments *arguments, struct up_catalogue *catalogue,
                            const struct up_item *item, struct up_failure *failure) {
    char answer[ANSWER_SIZE] = "";
    struct up_item other = {.name = ""};
    if (!up_item_look_alike(catalogue, item, &other, failure)) {
        return false;
    }
    if (other.id[0] == '\0') {
        return true;
    }
    if (!person_is_there(arguments)) {
        up_text_print(stderr,
                      "note: its name looks like that of \"%s\" (%.8s): give it another "
                      "--size, --maker, --stock-number or --name\n",
                      other.name, other.id);
        return true;
    }
    up_text_print(stderr, "There is \"%s\" (%.8s) already.\n", other.name, other.id);
    return (ask_person("A second one? Type yes, then press Enter:", answer) &&
            strcasecmp(answer, "yes") == 0) ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "nothing was stored: \"%.80s\" has that name already; give another --name, or "
                   "change that one by `upthrust item edit %.8s`",
                   other.name, other.id);
}

/* Of nothing it cannot be asked what it holds. */
static bool check_kind(const struct up_item *item, struct up_failure *failure) {
    return (item->name[0] != '\0' && item->kind[0] != '\0') ||
           up_fail(failure, UP_STATUS_WRONG_INPUT, "item add: give its --name and its --kind");
}

static enum up_status add(const struct arguments *arguments, struct up_catalogue *catalogue,
                          struct up_failure *failure) {
    struct up_item item;
    if (!read_item(arguments, &item, failure) || !check_kind(&item, failure) ||
        !take_holds_gas(arguments, &item, failure) ||
        !take_kind_tolerance(arguments, catalogue, &item, failure) ||
        !read_together(arguments, catalogue, &item, failure) ||
        !meet_look_alike(arguments, catalogue, &item, failure) ||
        !up_item_add(catalogue, &item, failure)) {
        return failure->status;
    }
    show_item(&item, option_given(arguments, "json"));
    return UP_STATUS_DONE;
}

/* ---- edit ---- */

static bool read_changes(const struct arguments *arguments, struct up_item *item,
                         struct up_failure *failure) {
    bool pair = option_given(arguments, "pair"), single = option_given(arguments, "single");
    if (pair && single) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "item edit: give --pair or --single, not both");
    }
    item->pieces = pair ? 2 : single ? 1 : item->pieces;
    return read_given(arguments, item, failure) &&
           (!(option_given(arguments, "kind") || option_given(arguments, "holds-gas")) ||
            take_holds_gas(arguments, item, failure));
}

static bool print_version(const struct up_record *record, void *context) {
    unsigned *count = context;
    struct up_item item;
    if (up_item_from_json(record->content, &item)) {
        up_text_print(stderr, "note: %s %s  %s\n",
                      *count == 0 ? "there were several live versions; now replaced:" : "  and",
                      record->made_utc, item.name);
    }
    ++*count;
    return true;
}

static bool count_version(const struct up_record *record, void *context) {
    (void)record;
    ++*(unsigned *)context;
    return true;
}

/* Changes that two catalogues made apart are shown before one of them wins. */
static bool print_versions(struct up_catalogue *catalogue, const char *item_id,
                           struct up_failure *failure) {
    unsigned versions = 0, printed = 0;
    return up_catalogue_each_live(catalogue, "item", item_id, count_version, &versions, failure) &&
           (versions < 2 ||
            up_catalogue_each_live(catalogue, "item", item_id, print_version, &printed, failure));
}

static enum up_status edit(const struct arguments *arguments, struct up_catalogue *catalogue,
                           struct up_failure *failure) {
    struct up_item item;
    if (arguments->words != 2) {
        up_fail(failure, UP_STATUS_WRONG_INPUT,
                "item edit: give one name or id, and what changes: --name, --kind, --size, ...");
        return failure->status;
    }
    if (!up_item_find(catalogue, arguments->word[1], &item, failure) ||
        !read_changes(arguments, &item, failure) ||
        !read_together(arguments, catalogue, &item, failure) ||
        !print_versions(catalogue, item.id, failure) || !up_item_add(catalogue, &item, failure)) {
        return failure->status;
    }
    show_item(&item, option_given(arguments, "json"));
    return UP_STATUS_DONE;
}

/* ---- rename, retire, restore ---- */

static bool apply_name(const struct arguments *arguments, struct up_item *item,
                       struct up_failure *failure) {
    const char *name = arguments->word[2];
    snprintf(item->name, sizeof item->name, "%.*s", (int)sizeof item->name - 1, name);
    return strlen(name) < sizeof item->name ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "item rename: the new name is longer than %d bytes", UP_NAME_SIZE - 1);
}

static enum up_status rename_item(const struct arguments *arguments, struct up_catalogue *catalogue,
                                  struct up_failure *failure) {
    struct up_item item;
    if (arguments->words != 3) {
        up_fail(failure, UP_STATUS_WRONG_INPUT,
                "item rename: give the name or id it has, and the new name, each in quotes where "
                "it has spaces");
        return failure->status;
    }
    if (!up_item_find(catalogue, arguments->word[1], &item, failure) ||
        !apply_name(arguments, &item, failure) || !print_versions(catalogue, item.id, failure) ||
        !meet_look_alike(arguments, catalogue, &item, failure) ||
        !up_item_add(catalogue, &item, failure)) {
        return failure->status;
    }
    show_item(&item, option_given(arguments, "json"));
    return UP_STATUS_DONE;
}

static enum up_status set_retired(const struct arguments *arguments, struct up_catalogue *catalogue,
                                  bool retired, struct up_failure *failure) {
    struct up_item item;
    if (arguments->words != 2) {
        up_fail(failure, UP_STATUS_WRONG_INPUT, "item %s: give one name or id", arguments->word[0]);
        return failure->status;
    }
    if (!up_item_find(catalogue, arguments->word[1], &item, failure)) {
        return failure->status;
    }
    item.retired = retired;
    if (!print_versions(catalogue, item.id, failure) || !up_item_add(catalogue, &item, failure)) {
        return failure->status;
    }
    show_item(&item, option_given(arguments, "json"));
    return UP_STATUS_DONE;
}

static enum up_status retire(const struct arguments *arguments, struct up_catalogue *catalogue,
                             struct up_failure *failure) {
    return set_retired(arguments, catalogue, true, failure);
}

static enum up_status restore(const struct arguments *arguments, struct up_catalogue *catalogue,
                              struct up_failure *failure) {
    return set_retired(arguments, catalogue, false, failure);
}

static enum up_status show(const struct arguments *arguments, struct up_catalogue *catalogue,
                           struct up_failure *failure) {
    struct up_item item;
    if (arguments->words != 2) {
        up_fail(failure, UP_STATUS_WRONG_INPUT, "item show: give one name or id");
        return failure->status;
    }
    if (!up_item_find(catalogue, arguments->word[1], &item, failure)) {
        return failure->status;
    }
    show_item(&item, option_given(arguments, "json"));
    return UP_STATUS_DONE;
}

/* A version of elsewhere becomes one of here; the own ones stay in the catalogue, replaced. */
static enum up_status accept(const struct arguments *arguments, struct up_catalogue *catalogue,
                             struct up_failure *failure) {
    struct up_item item;
    if (arguments->words != 2) {
        up_fail(failure, UP_STATUS_WRONG_INPUT, "item accept: give one name or id");
        return failure->status;
    }
    if (!up_item_find(catalogue, arguments->word[1], &item, failure) ||
        !up_item_accept(catalogue, item.id, &item, failure)) {
        return failure->status;
    }
    show_item(&item, option_given(arguments, "json"));
    return UP_STATUS_DONE;
}

enum up_status command_item(const struct arguments *arguments, struct up_failure *failure) {
    static const struct verb verbs[] = {
        {"accept", UP_CATALOGUE_WRITE, accept},      {"add", UP_CATALOGUE_CREATE, add},
        {"edit", UP_CATALOGUE_WRITE, edit},          {"list", UP_CATALOGUE_READ, list_items},
        {"rename", UP_CATALOGUE_WRITE, rename_item}, {"restore", UP_CATALOGUE_WRITE, restore},
        {"retire", UP_CATALOGUE_WRITE, retire},      {"show", UP_CATALOGUE_READ, show}};
    return run_verb("item", verbs, sizeof verbs / sizeof verbs[0], arguments, failure);
}
