/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <string.h>
#include <strings.h>

#include "catalogue/private.h"
#include "cli.h"
#include "metrology/material.h"
#include "text/json.h"
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
    {"owner", "TEXT",
     "add, edit: whose it is; shown by item show here, never exported or merged (\"\" takes it "
     "away)"},
    {"side", "left|right|none", "add, edit: which piece of a pair it is"},
    {"together", "NAME_OR_ID", "add, edit: one of several measured together (repeatable)"},
    {"single", NULL, "edit: one piece, no pair"},
    {"water", "NAME", "list: what has a result in this water (repeatable)"},
    {"class", "positive|neutral|negative|undecided", "list: what has a result of this class"},
    {"bench", "ID", "list: what was measured on the bench of this rig id"},
    {"sort", "name|kind|maker|model|size|up|newest",
     "list: in which order (up: the most buoyant first)"},
    {"limit", "N", "list: a page of this many, by name or as --sort says"},
    {"after", "NAME_OR_ID", "list: the page behind this item (with --limit)"},
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

bool take_material(struct call *call, double *expansion_per_k, double *u_expansion_per_k) {
    const char *name = option_value(call, "material");
    if (name == NULL) {
        return true;
    }
    const struct up_material *material = up_material_named(name);
    if (material == NULL) {
        return refuse_material(name, call->failure);
    }
    if (option_given(call, "expansion-per-k") || option_given(call, "u-expansion-per-k")) {
        return refuse(call, "--material and --expansion-per-k say the same: keep one");
    }
    *expansion_per_k = up_material_expansion_per_k(material);
    *u_expansion_per_k = up_material_u_expansion_per_k(material);
    return true;
}

static bool read_side(struct call *call, struct up_item *item) {
    const char *side = option_value(call, "side");
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
           refuse(call, "--side %.40s: write left, right or none", side);
}

/* What was not given is left alone. */
static bool read_given(struct call *call, struct up_item *item) {
    return take_material(call, &item->expansion_per_k, &item->u_expansion_per_k) &&
           option_text_value(call, "name", item->name) &&
           option_text_value(call, "kind", item->kind) &&
           option_text_value(call, "maker", item->maker) &&
           option_text_value(call, "model", item->model) &&
           option_text_value(call, "size", item->size) &&
           option_text_value(call, "stock-number", item->stock_number) &&
           option_text_value(call, "note", item->note) && read_side(call, item) &&
           option_number(call, "tolerance-g", UP_TOLERANCE_LEAST_G, UP_TOLERANCE_MOST_PAIR_G,
                         &item->tolerance_g) &&
           option_number(call, "expansion-per-k", 0, 0.01, &item->expansion_per_k) &&
           option_number(call, "u-expansion-per-k", 0, 0.01, &item->u_expansion_per_k);
}

static bool read_item(struct call *call, struct up_item *item) {
    bool pair = option_given(call, "pair");
    *item = (struct up_item){.pieces = pair ? 2 : 1,
                             .tolerance_g = pair ? UP_TOLERANCE_PAIR_G : UP_TOLERANCE_ONE_G,
                             .expansion_per_k = UP_EXPANSION_PER_K,
                             .u_expansion_per_k = UP_U_EXPANSION_PER_K};
    return read_given(call, item);
}

/* Several things that hang together: each is an item of its own already. */
static bool read_together(struct call *call, struct up_item *item) {
    if (option_given(call, "together")) {
        item->parts = 0;
    }
    for (int i = 0; i < call->options; i++) {
        struct up_item part;
        if (strcmp(call->option[i].name, "together") != 0) {
            continue;
        }
        if (item->parts == UP_PARTS_MAX) {
            return refuse(call, "--together: at most %d items are measured together", UP_PARTS_MAX);
        }
        if (!up_item_find(call->catalogue, call->option[i].value, &part, call->failure)) {
            return false;
        }
        for (int j = 0; j <= item->parts; j++) {
            if (strcmp(part.id, j < item->parts ? item->part_id[j] : item->id) == 0) {
                return refuse(call, "--together %.80s: it is named twice, or is the item itself",
                              call->option[i].value);
            }
        }
        memcpy(item->part_id[item->parts++], part.id, sizeof part.id);
        item->compressible = item->compressible || part.compressible; /* a boot in a fin */
    }
    return item->parts != 1 ||
           refuse(call, "--together: name two items or more, each with a --together of its own");
}

/* What is set for its kind goes before the default for all. */
static bool take_kind_tolerance(struct call *call, struct up_item *item) {
    return option_given(call, "tolerance-g") ||
           up_kind_tolerance(call->catalogue, item->kind, item->pieces, &item->tolerance_g,
                             call->failure);
}

static void print_labelled(const char *label, const char *text) {
    if (text[0] != '\0') {
        up_text_print(stdout, "  %s: %s\n", label, text);
    }
}

static void print_item(const struct up_item *item, const struct up_style *style) {
    double degree_k = style->imperial ? 1.8 : 1;
    char pieces[UP_CLAIM_SIZE];
    up_claim_pieces(item->pieces, pieces);
    up_text_print(stdout, "%s  %s%s\n", item->id, item->name,
                  item->elsewhere ? "  " UP_ELSEWHERE_MARK : "");
    up_text_print(stdout, "  %s, %s, maker %s, model %s, size %s\n", item->kind, pieces,
                  item->maker[0] ? item->maker : "-", item->model[0] ? item->model : "-",
                  item->size[0] ? item->size : "-");
    char within[UP_SHOWN_SIZE];
    up_style_lead(style, item->tolerance_g, within);
    printf("  neutral within %s; expands by %.3g per %s (u %.2g)\n", within,
           item->expansion_per_k / degree_k, style->imperial ? "degree F" : "K",
           item->u_expansion_per_k / degree_k);
    if (item->compressible) {
        printf("  holds gas%s: results hold only at their depth\n",
               item->holds_gas == UP_GAS_UNKNOWN ? ": unknown, which counts as yes" : "");
    }
    print_labelled("side", item->side);
    print_labelled("stock number", item->stock_number);
    print_labelled("note", item->note);
    if (item->elsewhere) {
        puts("  " UP_ELSEWHERE_MARK " " UP_ELSEWHERE_MEANING);
    }
    if (item->retired) {
        fputs("  retired: `upthrust item restore` brings it back\n", stdout);
    }
    for (int i = 0; i < item->parts; i++) {
        printf("%s%.8s%s", i == 0 ? "  measured together: " : ", ", item->part_id[i],
               i + 1 == item->parts ? "\n" : "");
    }
}

/* `owner`: NULL where it is not to be shown, or none is noted. */
static bool show_item(struct call *call, const struct up_item *item, const char *owner) {
    struct up_style style;
    if (!style_asked(call, &style)) {
        return false;
    }
    if (option_given(call, "json")) {
        json_t *document = up_item_to_json(item);
        json_object_update_new(document,
                               json_pack("{s:s, s:s, s:b}", "schema", "upthrust-item-1", "item_id",
                                         item->id, "elsewhere", item->elsewhere));
        if (owner != NULL) {
            json_object_set_new(document, "owner", up_json_text(owner));
        }
        print_json(document);
    } else {
        print_item(item, &style);
        print_labelled("owner (stays here)", owner != NULL ? owner : "");
    }
    return true;
}

/* ---- whose it is ---- */

static bool store_owner(struct call *call, const struct up_item *item) {
    char owner[UP_NAME_SIZE] = "";
    return !option_given(call, "owner") ||
           (option_text_value(call, "owner", owner) &&
            up_item_set_owner(call->catalogue, item->id, owner, call->failure));
}

/* The owner alone changes no version of the item. */
static bool changes_item(const struct call *call) {
    bool changes = !option_given(call, "owner");
    for (int i = 0; i < call->options; i++) {
        static const char *const others[] = {"owner", "catalogue", "json", "units"};
        bool other = false;
        for (size_t j = 0; j < sizeof others / sizeof others[0]; j++) {
            other = other || strcmp(call->option[i].name, others[j]) == 0;
        }
        changes = changes || !other;
    }
    return changes;
}

/* Two of one name are allowed: a shop has several of a kind. A person is asked first; others get a
   note. */
static bool confirm_look_alike(struct call *call, const struct up_item *item) {
    char answer[ANSWER_SIZE] = "";
    struct up_item other = {.name = ""};
    if (!up_item_look_alike(call->catalogue, item, &other, call->failure)) {
        return false;
    }
    if (other.id[0] == '\0') {
        return true;
    }
    if (!person_is_there(call)) {
        up_text_print(stderr,
                      "note: its name looks like that of \"%s\" (%.8s): give it another "
                      "--size, --maker, --stock-number or --name\n",
                      other.name, other.id);
        return true;
    }
    up_text_print(stderr, "There is \"%s\" (%.8s) already.\n", other.name, other.id);
    return (ask_person("A second one? Type yes, then press Enter:", answer) &&
            strcasecmp(answer, "yes") == 0) ||
           refuse(call,
                  "nothing was stored: \"%.80s\" has that name already; give another --name, or "
                  "change that one by `upthrust item edit %.8s`",
                  other.name, other.id);
}

/* An item without a kind cannot be asked about its gas. */
static bool check_kind(struct call *call, const struct up_item *item) {
    return (item->name[0] != '\0' && item->kind[0] != '\0') ||
           refuse(call, "item add: give its --name and its --kind");
}

static bool add(struct call *call) {
    struct up_item item;
    return read_item(call, &item) && check_kind(call, &item) && take_holds_gas(call, &item) &&
           take_kind_tolerance(call, &item) && read_together(call, &item) &&
           confirm_look_alike(call, &item) && up_item_add(call->catalogue, &item, call->failure) &&
           store_owner(call, &item) && show_item(call, &item, NULL);
}

/* ---- edit ---- */

static bool read_changes(struct call *call, struct up_item *item) {
    bool pair = option_given(call, "pair"), single = option_given(call, "single");
    if (pair && single) {
        return refuse(call, "item edit: give --pair or --single, not both");
    }
    item->pieces = pair ? 2 : single ? 1 : item->pieces;
    return read_given(call, item) &&
           (!(option_given(call, "kind") || option_given(call, "holds-gas")) ||
            take_holds_gas(call, item));
}

enum { VERSIONS_SHOWN = 10 };

struct versions {
    json_t *replaced; /* their ids */
    unsigned shown;
};

/* Those from elsewhere that wait go on waiting. */
static bool print_version(const struct up_record *record, void *context) {
    struct versions *versions = context;
    struct up_item item;
    size_t i;
    const json_t *id;
    json_array_foreach(versions->replaced, i, id) {
        if (strcmp(json_string_value(id), record->id) == 0 &&
            up_item_from_json(record->content, &item)) {
            up_text_print(stderr, "note: %s %s  %s\n",
                          versions->shown++ == 0 ? "there were several live versions; now replaced:"
                                                 : "  and",
                          record->made_utc, item.name);
        }
    }
    return versions->shown < VERSIONS_SHOWN;
}

/* Changes that two catalogues made apart are shown before one of them wins. */
static bool print_versions(struct call *call, const char *item_id) {
    json_auto_t *replaced = up_catalogue_live_ids(call->catalogue, "item", item_id, call->failure);
    struct versions versions = {replaced, 0};
    return replaced != NULL && (json_array_size(replaced) < 2 ||
                                up_catalogue_each_live(call->catalogue, "item", item_id,
                                                       print_version, &versions, call->failure));
}

/* In the place of the version that was current. */
static bool store(struct call *call, struct up_item *item) {
    return print_versions(call, item->id) && up_item_add(call->catalogue, item, call->failure) &&
           show_item(call, item, NULL);
}

static bool edit(struct call *call) {
    struct up_item item;
    if (call->words != 2) {
        return refuse(call, "item edit: give one name or id, and what changes: --name, --kind, "
                            "--size, ...");
    }
    return up_item_find(call->catalogue, call->word[1], &item, call->failure) &&
           store_owner(call, &item) &&
           (changes_item(call)
                ? read_changes(call, &item) && read_together(call, &item) && store(call, &item)
                : show_item(call, &item, NULL));
}

/* ---- rename, retire, restore ---- */

static bool apply_name(struct call *call, struct up_item *item) {
    const char *name = call->word[2];
    snprintf(item->name, sizeof item->name, "%.*s", (int)sizeof item->name - 1, name);
    return strlen(name) < sizeof item->name ||
           refuse(call, "item rename: the new name is longer than %d bytes", UP_NAME_SIZE - 1);
}

static bool rename_item(struct call *call) {
    struct up_item item;
    if (call->words != 3) {
        return refuse(call, "item rename: give the name or id it has, and the new name, each in "
                            "quotes where it has spaces");
    }
    return up_item_find(call->catalogue, call->word[1], &item, call->failure) &&
           apply_name(call, &item) && print_versions(call, item.id) &&
           confirm_look_alike(call, &item) && up_item_add(call->catalogue, &item, call->failure) &&
           show_item(call, &item, NULL);
}

static bool find_one(struct call *call, struct up_item *item) {
    return call->words == 2 ? up_item_find(call->catalogue, call->word[1], item, call->failure)
                            : refuse(call, "item %s: give one name or id", call->word[0]);
}

/* "retire" or "restore". */
static bool set_retired(struct call *call) {
    struct up_item item;
    if (!find_one(call, &item)) {
        return false;
    }
    item.retired = strcmp(call->word[0], "retire") == 0;
    return store(call, &item);
}

static bool show(struct call *call) {
    struct up_item item;
    if (!find_one(call, &item)) {
        return false;
    }
    UP_FREED char *owner = up_item_owner(call->catalogue, item.id);
    return show_item(call, &item, owner);
}

/* A version of elsewhere becomes one of here; the own ones stay in the catalogue, replaced. */
static bool accept(struct call *call) {
    struct up_item item;
    return find_one(call, &item) &&
           up_item_accept(call->catalogue, item.id, &item, call->failure) &&
           show_item(call, &item, NULL);
}

bool command_item(struct call *call) {
    static const struct verb verbs[] = {
        {"accept", UP_CATALOGUE_WRITE, accept},      {"add", UP_CATALOGUE_CREATE, add},
        {"edit", UP_CATALOGUE_WRITE, edit},          {"list", UP_CATALOGUE_READ, list_items},
        {"rename", UP_CATALOGUE_WRITE, rename_item}, {"restore", UP_CATALOGUE_WRITE, set_retired},
        {"retire", UP_CATALOGUE_WRITE, set_retired}, {"show", UP_CATALOGUE_READ, show}};
    return run_verb("item", verbs, sizeof verbs / sizeof verbs[0], call);
}
