/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What stands on a label, and that all of it has room. How it looks as a file:
 * tests/cli/label_test.sh.
 */
#include "../catalogue/support.h"

#include <cairo-pdf.h>
#include <math.h>

#include "chance.h"
#include "label/internal.h"

static struct up_row row_of(const struct up_item *item, const char *water, double net_g,
                            const char *class) {
    struct up_row row = {.pieces = 1,
                         .measured = strcmp(water, "tank") == 0,
                         .buoyancy_g = net_g,
                         .expanded_u_g = 1.2,
                         .stuck_air_g = (double)NAN,
                         .tolerance_g = 50,
                         .water_temp_c = 20,
                         .water_density_kg_m3 = (double)NAN};
    snprintf(row.item_id, sizeof row.item_id, "%s", item->id);
    snprintf(row.name, sizeof row.name, "%s", item->name);
    snprintf(row.water, sizeof row.water, "%s", water);
    snprintf(row.class, sizeof row.class, "%s", class);
    snprintf(row.made_utc, sizeof row.made_utc, "2026-01-02T03:04:05.678Z");
    snprintf(row.bench, sizeof row.bench, "shed");
    return row;
}

static struct up_item item_of(const char *name) {
    struct up_item item = plain_item(name);
    snprintf(item.id, sizeof item.id, "3f2a1b00-0000-4000-8000-000000000001");
    snprintf(item.kind, sizeof item.kind, "fin");
    snprintf(item.size, sizeof item.size, "L");
    snprintf(item.maker, sizeof item.maker, "%s", "");
    snprintf(item.model, sizeof item.model, "%s", "");
    snprintf(item.stock_number, sizeof item.stock_number, "A-17");
    item.side[0] = '\0';
    return item;
}

static const struct up_style metric;

static struct up_card fill(const struct up_item *item, struct up_row *row, size_t count) {
    struct up_card card;
    up_card_fill(&card, item, row, count, NULL, &metric);
    return card;
}

static void a_size_is_read_or_refused(void **state) {
    (void)state;
    static const char *const good[] = {"74x105mm",  "25x15mm",   "15x25mm",
                                       "210x297mm", "297x210mm", "62.5x29mm"};
    static const char *const wrong[] = {"",          "74x105",     "74mm",       "24x15mm",
                                        "25x14mm",   "211x298mm",  "210x298mm",  "nanxnanmm",
                                        "74x105mmm", "-74x105mm",  "1e2x105mm",  "74 x105mm",
                                        "0x0mm",     "0x25x100mm", "74x105mm74", "9999999x20mm"};
    struct up_label_wish wish;
    for (size_t i = 0; i < ARRAY(good); i++) {
        assert_true(up_label_size(good[i], &wish));
    }
    assert_true(wish.width_mm == 62.5 && wish.height_mm == 29);
    for (size_t i = 0; i < ARRAY(wrong); i++) {
        assert_false(up_label_size(wrong[i], &wish));
    }
}

static void a_water_that_is_asked_for_stands_alone(void **state) {
    (void)state;
    static const char *const waters[] = {"quarry", NULL}, *const none[] = {"lake", NULL};
    struct up_item item = item_of("Gull fin");
    struct up_row row[] = {row_of(&item, "fresh", -60, "negative"),
                           row_of(&item, "quarry", -61, "negative")};
    struct up_card card;
    up_card_fill(&card, &item, row, 2, waters, &metric);
    assert_int_equal(card.waters, 1);
    assert_string_equal(card.water[0].row->water, "quarry");
    up_card_release(&card);
    up_card_fill(&card, &item, row, 2, none, &metric);
    assert_int_equal(card.waters, 0);
    up_card_release(&card);
}

static void fresh_and_sea_stand_on_it_and_no_tank(void **state) {
    (void)state;
    struct up_item item = item_of("Gull fin");
    struct up_row row[] = {row_of(&item, "sea", -9.5, "neutral"),
                           row_of(&item, "tank", 99, "positive"),
                           row_of(&item, "fresh", -60.25, "negative")};
    row[2].expanded_u_g = 1.26;
    row[2].stuck_air_g = 2;
    row[2].water_density_kg_m3 = 1006;
    row[0].simulated = true; /* one of them is enough */
    snprintf(row[0].made_utc, sizeof row[0].made_utc, "2025-01-02T03:04:05.678Z");
    struct up_card card = fill(&item, row, 3);
    assert_int_equal(card.waters, 2);
    assert_string_equal(card.water[0].title, "Fresh water, 20.0 °C");
    assert_string_equal(card.water[0].class, "NEGATIVE");
    assert_string_equal(card.water[0].meaning, "sinks");
    assert_string_equal(card.water[0].net, "−60.2 g DOWN");
    assert_string_equal(card.water[0].interval, "−63.5 to −59.0 g (95 %)");
    assert_string_equal(card.water[0].range, "−64 to −58");
    assert_string_equal(card.water[1].range, "−11 to −8");
    assert_string_equal(card.water[0].basis, "calculated, for 1006.0 kg/m³");
    assert_string_equal(card.water[1].title, "Sea water, 20.0 °C");
    assert_string_equal(card.water[1].meaning, "hovers");
    assert_string_equal(card.water[1].net, "−9.5 g DOWN");
    assert_string_equal(card.water[1].interval, "−10.7 to −8.3 g (95 %)");
    assert_string_equal(card.name, "Gull fin");
    assert_string_equal(card.description, "fin, size L, stock number A-17");
    assert_string_equal(card.origin, "fresh: 2026-01-02, bench shed; sea: 2025-01-02, bench shed");
    assert_string_equal(card.scope, "this one piece, not the model");
    assert_string_equal(card.marks, UP_CLAIM_STUCK);
    assert_string_equal(card.banner, "SIMULATED: no gear was weighed");
    up_card_release(&card);
}

/* What shows as nothing goes neither way; nothing is hidden of who was retired. */
static void nothing_goes_neither_up_nor_down(void **state) {
    (void)state;
    struct up_item item = item_of("Gull fin");
    item.retired = true;
    struct up_row row = row_of(&item, "fresh", -0.03, "neutral");
    struct up_card card = fill(&item, &row, 1);
    assert_string_equal(card.water[0].net, "+0.0 g");
    assert_string_equal(card.marks, "retired: kept, not used any more");
    assert_string_equal(card.banner, "");
    assert_string_equal(card.origin, "2026-01-02, bench shed");
    up_card_release(&card);
}

static void foam_stands_with_its_depth(void **state) {
    (void)state;
    struct up_item item = item_of("Gull boot");
    struct up_row row = row_of(&item, "tank", 120, "positive");
    row.foam_depth_m = 0.4;
    struct up_card card = fill(&item, &row, 1);
    assert_int_equal(card.waters, 1);
    assert_string_equal(card.water[0].title, "The tank's water, 20.0 °C");
    assert_string_equal(card.water[0].net, "+120.0 g UP");
    assert_string_equal(card.water[0].class, "POSITIVE");
    assert_int_equal(card.water[0].place, UP_CARD_FLOATS);
    assert_string_equal(card.water[0].basis, "measured, at 0.4 m only");
    up_card_release(&card);
}

static void every_mark_stands_on_it_once(void **state) {
    (void)state;
    struct up_item item = item_of("Gull tank");
    struct up_row row[2] = {row_of(&item, "fresh", 1, "undecided"),
                            row_of(&item, "sea", 1, "undecided")};
    for (int i = 0; i < 2; i++) {
        row[i].pieces = 2;
        row[i].unusual = row[i].rejudged = row[i].elsewhere = row[i].simulated = true;
        row[i].tolerance_g = 80;
        row[i].checked = UP_CHECKED_OUTSIDE;
        snprintf(row[i].filling, sizeof row[i].filling, "as weighed, emptied of gas");
    }
    struct up_card card = fill(&item, row, 2);
    UP_FREED char *wanted =
        up_text_format("neutral within 80 g; as weighed, emptied of gas; %s; judged again since it "
                       "was measured; %s",
                       up_checked_meaning(UP_CHECKED_OUTSIDE), UP_ELSEWHERE_MEANING);
    assert_string_equal(card.marks, wanted);
    assert_string_equal(card.scope, "this pair, not the model");
    assert_string_equal(card.name, "pair: Gull tank");
    assert_string_equal(card.banner, "SIMULATED: no gear was weighed");
    assert_string_equal(card.water[0].class, "UNDECIDED");
    assert_int_equal(card.water[0].place, UP_CARD_UNDECIDED);
    up_card_release(&card);
}

/* ---- room ---- */

/* What is drawn lies within the label, and within its least margin. */
static void assert_inside(const struct up_card *card, struct label_setting *setting) {
    cairo_surface_t *surface = cairo_recording_surface_create(CAIRO_CONTENT_COLOR_ALPHA, NULL);
    cairo_t *cairo = cairo_create(surface);
    double x, y, width, height;
    setting->draws = true;
    label_set(cairo, card, setting);
    cairo_recording_surface_ink_extents(surface, &x, &y, &width, &height);
    assert_true(x >= 0.5 && y >= 0.5);
    assert_true(x + width <= setting->width_pt - 0.5);
    assert_true(y + height <= setting->height_pt - 0.5);
    cairo_destroy(cairo);
    cairo_surface_destroy(surface);
}

static void what_fits_is_drawn_inside(void **state) {
    (void)state;
    struct chance *chance = chance_begin(7);
    unsigned fitted = 0;
    cairo_surface_t *surface = cairo_recording_surface_create(CAIRO_CONTENT_COLOR_ALPHA, NULL);
    cairo_t *cairo = cairo_create(surface);
    for (int i = 0; i < 24; i++) {
        char name[100];
        size_t length = 1 + chance_below(chance, 90);
        memset(name, 'w', length);
        name[length] = '\0';
        struct up_item item = item_of(name);
        struct up_row row[2] = {row_of(&item, "fresh", -1234.5, "negative"),
                                row_of(&item, "sea", 55, "positive")};
        struct up_card card = fill(&item, row, 2);
        struct label_setting setting = {
            .code = item.id,
            .code_modules = 37,
            .width_pt = (25 + (double)chance_below(chance, 185)) * LABEL_PT_PER_MM,
            .height_pt = (15 + (double)chance_below(chance, 282)) * LABEL_PT_PER_MM};
        if (label_fit(cairo, &card, &setting)) {
            assert_inside(&card, &setting);
            fitted++;
        }
        up_card_release(&card);
    }
    chance_end(chance);
    assert_true(fitted > 8 && fitted < 24);
    cairo_destroy(cairo);
    cairo_surface_destroy(surface);
}

/* Once each part of its own, never what must stay. */
static void small_labels_leave_out_one_part_after_the_other(void **state) {
    (void)state;
    struct up_item item = item_of("Gull fin");
    struct up_row row[2] = {row_of(&item, "fresh", -1234.5, "negative"),
                            row_of(&item, "sea", 55, "positive")};
    struct up_card card = fill(&item, row, 2);
    cairo_surface_t *surface = cairo_recording_surface_create(CAIRO_CONTENT_COLOR_ALPHA, NULL);
    cairo_t *cairo = cairo_create(surface);
    int most = 0;
    bool fitted = true;
    for (double height_mm = 110; fitted && height_mm > 20; height_mm -= 4) {
        struct label_setting setting = {.code = item.id,
                                        .code_modules = 37,
                                        .width_pt = 74 * LABEL_PT_PER_MM,
                                        .height_pt = height_mm * LABEL_PT_PER_MM};
        fitted = label_fit(cairo, &card, &setting);
        int left_out = 0;
        for (int part = 0; fitted && part < UP_LABEL_PARTS; part++) {
            left_out += setting.leaves_out[part];
            assert_true(part == 0 || !setting.leaves_out[part] || setting.leaves_out[part - 1] ||
                        setting.strip);
        }
        assert_true(!fitted || setting.height_pt < 75 * LABEL_PT_PER_MM || left_out == 0);
        most = left_out > most ? left_out : most;
    }
    assert_false(fitted);
    assert_true(most >= 2);
    up_card_release(&card);
    cairo_destroy(cairo);
    cairo_surface_destroy(surface);
}

/* ---- strips for label printers ---- */

static bool fit_strip(cairo_t *cairo, const struct up_card *card, double width_mm, double height_mm,
                      struct label_setting *setting) {
    *setting = (struct label_setting){.code = "3f2a1b00-0000-4000-8000-000000000001",
                                      .code_modules = 37,
                                      .width_pt = width_mm * LABEL_PT_PER_MM,
                                      .height_pt = height_mm * LABEL_PT_PER_MM};
    return label_fit(cairo, card, setting);
}

/* 62 mm is what rolls of label printers have, 29 mm a usual height: both waters, the cautions and
   the code stand on it. */
static void a_strip_of_62_by_29_mm_holds_what_must_stand(void **state) {
    (void)state;
    struct up_item item = item_of("Gull fin");
    struct up_row row[2] = {row_of(&item, "fresh", -912.5, "negative"),
                            row_of(&item, "sea", -49.7, "undecided")};
    /* A recording rounds the widths of letters, a PDF does not. */
    cairo_surface_t *surface = cairo_pdf_surface_create(NULL, 400, 400);
    cairo_t *cairo = cairo_create(surface);
    for (int simulated = 0; simulated < 2; simulated++) {
        struct label_setting setting;
        row[0].simulated = simulated == 1;
        row[0].checked = row[1].checked = UP_CHECKED_NOT;
        struct up_card card = fill(&item, row, 2);
        assert_string_equal(card.brief, "unchecked");
        assert_string_equal(card.water[0].title_brief, "Fresh, 20.0 °C");
        assert_string_equal(card.water[1].title_brief, "Sea, 20.0 °C");
        assert_string_equal(card.water[0].basis_brief, "calculated");
        assert_true(fit_strip(cairo, &card, 62, 29, &setting));
        assert_true(setting.strip && !setting.leaves_out[UP_LABEL_CODE]);
        assert_true(setting.leaves_out[UP_LABEL_PICTURE]);
        /* One that is a card all the same stays one. */
        assert_true(fit_strip(cairo, &card, 74, 105, &setting) && !setting.strip);
        /* The code goes first, then it is refused: no line of it is ever dropped. */
        assert_true(fit_strip(cairo, &card, 62, 27, &setting) && setting.strip);
        assert_true(setting.leaves_out[UP_LABEL_CODE]);
        assert_false(fit_strip(cairo, &card, 40, 25, &setting));
        assert_false(fit_strip(cairo, &card, 25, 15, &setting));
        up_card_release(&card);
    }
    cairo_destroy(cairo);
    cairo_surface_destroy(surface);
}

static void a_strip_has_every_mark_in_few_words(void **state) {
    (void)state;
    struct up_item item = item_of("Gull tank");
    struct up_row row = row_of(&item, "fresh", 1, "undecided");
    item.retired = item.elsewhere = true;
    row.unusual = row.rejudged = row.quick = row.quick_beside = true;
    row.tolerance_g = 80;
    row.stuck_air_g = 2;
    row.foam_depth_m = 0.4;
    row.checked = UP_CHECKED_OUTSIDE;
    snprintf(row.aside, sizeof row.aside, "near");
    snprintf(row.filling, sizeof row.filling, "as weighed, emptied of gas");
    struct up_card card = fill(&item, &row, 1);
    assert_string_equal(card.brief,
                        "neutral within 80 g; quick weighing; put aside; a later quick one beside "
                        "it; as weighed, emptied of gas; reference body off; judged again; item "
                        "from elsewhere; retired");
    assert_string_equal(card.water[0].basis_brief, "measured, at 0.4 m only");
    up_card_release(&card);
    row.elsewhere = row.at_most = true;
    card = fill(&item, &row, 1);
    assert_non_null(strstr(card.brief, "; not shaken, may sink more;"));
    assert_non_null(strstr(card.brief, "; from elsewhere;"));
    up_card_release(&card);
}

/* Sizes between quarters of a point would each be looked for among the fonts: one per cent more
   makes no letter larger here, only the gaps, by 0.2 points in all. */
static void few_sizes_of_letters_are_tried(void **state) {
    (void)state;
    struct up_item item = item_of("Gull fin");
    struct up_row row[2] = {row_of(&item, "fresh", -1234.5, "negative"),
                            row_of(&item, "sea", 55, "positive")};
    struct up_card card = fill(&item, row, 2);
    cairo_surface_t *surface = cairo_pdf_surface_create(NULL, 400, 400); /* it rounds no height */
    cairo_t *cairo = cairo_create(surface);
    struct label_setting setting = {.code = item.id,
                                    .code_modules = 37,
                                    .width_pt = 200,
                                    .height_pt = 400,
                                    .leaves_out = {true, true, true, true},
                                    .scale = 1.001};
    double height_pt = label_set(cairo, &card, &setting);
    setting.scale = 1.012;
    double more_pt = label_set(cairo, &card, &setting) - height_pt;
    assert_true(more_pt > 0 && more_pt < 0.4);
    up_card_release(&card);
    cairo_destroy(cairo);
    cairo_surface_destroy(surface);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_size_is_read_or_refused),
        cmocka_unit_test(a_water_that_is_asked_for_stands_alone),
        cmocka_unit_test(fresh_and_sea_stand_on_it_and_no_tank),
        cmocka_unit_test(nothing_goes_neither_up_nor_down),
        cmocka_unit_test(foam_stands_with_its_depth),
        cmocka_unit_test(every_mark_stands_on_it_once),
        cmocka_unit_test(what_fits_is_drawn_inside),
        cmocka_unit_test(a_strip_of_62_by_29_mm_holds_what_must_stand),
        cmocka_unit_test(a_strip_has_every_mark_in_few_words),
        cmocka_unit_test(few_sizes_of_letters_are_tried),
        cmocka_unit_test(small_labels_leave_out_one_part_after_the_other),
    };
    return cmocka_run_group_tests_name("label", tests, NULL, NULL);
}
