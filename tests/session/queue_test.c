/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A list of items, and what was done of it. */
#include "../catalogue/support.h"

#include "session/stock_list.h"

static const char *list = "list.txt";

static void add_run(struct up_catalogue *catalogue, const struct up_item *item, const char *queue,
                    const char *how_ended) {
    json_t *content =
        json_pack("{s:s, s:s, s:s, s:{s:s, s:s}}", "what", "measure", "item_id", item->id,
                  "how_ended", how_ended, "queue", "id", queue, "list", list);
    assert_true(up_catalogue_add(catalogue, "run", NULL, "one", content, NULL, NULL, NULL));
    json_decref(content);
    catalogue_clock_step_s++;
}

static unsigned remaining(struct up_catalogue *catalogue, const char *bench) {
    static struct up_queue queue;
    struct up_failure failure = {0};
    if (!up_queue_open(&queue, catalogue, "list.txt", bench, &failure)) {
        fail_msg("%s", failure.text);
    }
    return up_queue_remaining(&queue);
}

/* Of the latest queue on that bench, whose runs were made here. */
static void what_was_measured_here_is_done(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item one = add_item(catalogue, "one"), two = add_item(catalogue, "two"),
                   three = add_item(catalogue, "three");
    write_all("list.txt", "# the hall's\none\n\ntwo\nthree\n");
    add_run(catalogue, &three, "before", "completed");
    add_run(catalogue, &one, "now", "completed");
    add_run(catalogue, &two, "now", "stopped");
    assert_int_equal(remaining(catalogue, NULL), 3);
    assert_int_equal(remaining(catalogue, "one"), 2);
    for (int i = 0; i < 2; i++) { /* of elsewhere: the same queue, and a newer one */
        add_run(catalogue, &two, i == 0 ? "now" : "later", "completed");
        sql(catalogue->database, "DELETE FROM local_mark WHERE record_id = (SELECT id FROM record"
                                 " WHERE kind = 'run' ORDER BY made_utc DESC LIMIT 1)");
        assert_int_equal(remaining(catalogue, "one"), 2);
    }
    up_catalogue_close(catalogue);
}

/* No list names them: their runs do. What was interrupted comes first, as the run it was, and what
   was weighed twice was scanned twice. */
static void what_was_scanned_goes_on(void **state) {
    (void)state;
    static struct up_queue scanned;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item one = add_item(catalogue, "one"), two = add_item(catalogue, "two");
    assert_false(up_queue_begin_scanning(&scanned, catalogue, "one", &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "nothing was scanned on the bench one yet");
    list = "barcodes";
    add_run(catalogue, &two, "before", "completed");
    add_run(catalogue, &one, "now", "completed");
    add_run(catalogue, &two, "now", "stopped");
    add_run(catalogue, &two, "now", "completed"); /* it went on */
    add_run(catalogue, &one, "now", "completed");
    add_run(catalogue, &two, "now", "crashed");
    list = "list.txt";
    assert_true(up_queue_begin_scanning(&scanned, catalogue, "one", &failure));
    assert_string_equal(scanned.id, "now");
    assert_int_equal(scanned.count, 4);
    assert_int_equal(up_queue_remaining(&scanned), 1);
    const struct up_queue_entry *last = &scanned.entry[3];
    assert_true(strcmp(last->item.name, "two") == 0 && last->unfinished_run[0] != '\0');
    assert_true(scanned.entry[1].done && scanned.entry[1].unfinished_run[0] == '\0');
    assert_true(up_queue_begin_scanning(&scanned, catalogue, NULL, &failure));
    assert_true(scanned.count == 0 && strcmp(scanned.id, "now") != 0);
    up_catalogue_close(catalogue);
}

/* ---- a shop's stock list ---- */

static struct up_queue queue;

static void read_list(struct up_catalogue *catalogue, const char *text) {
    struct up_failure failure = {0};
    write_all("list.txt", text);
    if (!up_queue_open(&queue, catalogue, "list.txt", NULL, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static void assert_list_refused(struct up_catalogue *catalogue, const char *text,
                                const char *words) {
    struct up_failure failure = {0};
    write_all("list.txt", text);
    assert_false(up_queue_open(&queue, catalogue, "list.txt", NULL, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, words);
}

/* As spreadsheets write it: a mark at the beginning, semicolons where the comma is decimal, quotes;
   the columns in any order and spelling, others beside them. */
static void a_stock_list_is_read_by_its_header(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item known = plain_item("Tern fin");
    snprintf(known.stock_number, sizeof known.stock_number, "17");
    assert_true(up_item_add(catalogue, &known, NULL));
    add_item(catalogue, "another name"); /* has no number, so the list's is not its */
    read_list(catalogue, "\xEF\xBB\xBF"
                         "KIND;Colour;Stock_Number;Mass (g);Name;size\r\n"
                         "# not this\r\n"
                         "boot;red;18;1004,5;\"Auk; \"\"old\"\"\";M\r\n"
                         "whatever;blue;17;;another name;L\r\n");
    assert_int_equal(queue.count, 2);
    const struct up_queue_entry *boot = &queue.entry[0], *fin = &queue.entry[1];
    assert_true(boot->is_new && !fin->is_new);
    assert_string_equal(boot->item.name, "Auk; \"old\"");
    assert_string_equal(boot->item.kind, "boot");
    assert_string_equal(boot->item.size, "M");
    assert_string_equal(boot->item.stock_number, "18");
    assert_true(fabs(boot->mass_kg - 1.0045) < 1e-12 && boot->u_mass_kg == 1e-3);
    assert_string_equal(fin->item.id, known.id); /* by its number, whatever the list calls it */
    assert_true(fin->mass_kg == 0 && fin->u_mass_kg == 0);
    unsigned added = 0;
    assert_true(up_stock_register(&queue, catalogue, &added, NULL) && added == 1);
    read_list(catalogue, "name,stock number\n\"Auk; \"\"old\"\"\",18\n");
    assert_false(queue.entry[0].is_new);
    assert_true(queue.entry[0].item.tolerance_g == UP_TOLERANCE_ONE_G);
    up_catalogue_close(catalogue);
}

static void names_alone_are_a_list_as_before(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item one = add_item(catalogue, "one, of two; names");
    read_list(catalogue, "one, of two; names\n");
    assert_string_equal(queue.entry[0].item.id, one.id);
    assert_true(queue.count == 1 && !queue.entry[0].is_new);
    up_catalogue_close(catalogue);
}

static void a_row_that_cannot_be_is_refused(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    for (int i = 0; i < 2; i++) {
        struct up_item twin = plain_item("twin");
        snprintf(twin.stock_number, sizeof twin.stock_number, "5");
        assert_true(up_item_add(catalogue, &twin, NULL));
    }
    assert_list_refused(catalogue, "name,kind\nA,fin\nA,fin\n", "line 3: A is listed twice");
    assert_list_refused(catalogue, "name,kind\nA,\n", "line 2: A is not in the catalogue");
    assert_list_refused(catalogue, "name,kind,mass g\nA,fin,-3\n", "not a number of grams above 0");
    assert_list_refused(catalogue, "name,kind,mass g\nA,fin,0.2\n", "from 1 g to 100 kg");
    assert_list_refused(catalogue, "name,kind,pieces\nA,fin,3\n", "pieces: 1, or 2");
    assert_list_refused(catalogue, "stock number\n5\n", "several items have it");
    assert_list_refused(catalogue, "name\ntwin\n", "several items have it");
    assert_list_refused(catalogue, "name,kind\n,fin\n", "neither a name nor a stock number");
    /* read once more, these could not be told apart */
    assert_list_refused(catalogue, "name,kind,stock number\nA,fin,7\nB,fin,7\n", "line 3: A and B");
    assert_list_refused(catalogue, "name,kind,stock number\nA,fin,\nA,fin,7\n", "line 3: A and A");
    assert_list_refused(catalogue, "name,kind,stock number\nA,fin,7\nA,fin,\n", "line 3: A and A");
    read_list(catalogue, "name,kind,stock number\nA,fin,7\nA,fin,8\nB,fin,\n");
    assert_int_equal(queue.count, 3);
    /* a cell that goes on in the next line, or of which something would be passed over */
    assert_list_refused(catalogue, "kind,name\nfin,\"Boot\n",
                        "line 2: a cell that begins with a quot");
    assert_list_refused(catalogue, "name,kind\n\"Boot\" L,fin\n", "line 2: a cell that begins");
    read_list(catalogue, "name,kind\n\"Boot\" ,fin\n");
    up_catalogue_close(catalogue);
}

/* By a factor of a thousand. */
static void grams_are_read_in_one_way(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    static const struct {
        char separator;
        const char *cell;
        double kg; /* 0: refused */
    } cases[] = {{',', "\"1,500\"", 0}, {',', "\"1,5\"", 0},     {',', "1.500", 1.5e-3},
                 {';', "1,500", 0},     {';', "1.500", 0},       {';', "1,5", 1.5e-3},
                 {';', "1.5", 1.5e-3},  {';', "01,500", 1.5e-3}, {';', "1004,500", 1.0045},
                 {';', "1500", 1.5},    {'\t', "850,250", 0},    {';', "1,50", 1.5e-3}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[80];
        snprintf(text, sizeof text, "name%ckind%cmass g\nA%cfin%c%s\n", cases[i].separator,
                 cases[i].separator, cases[i].separator, cases[i].separator, cases[i].cell);
        if (cases[i].kg == 0) {
            assert_list_refused(catalogue, text, "line 2: mass g");
            continue;
        }
        read_list(catalogue, text);
        assert_true(fabs(queue.entry[0].mass_kg - cases[i].kg) < 1e-12);
    }
    up_catalogue_close(catalogue);
}

/* A guest's stock number stands behind what is of here, and behind what the list calls otherwise:
   all shops count from 1. */
static void a_guests_number_takes_no_place(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item own = add_item(catalogue, "Auk fin"), found;
    const char *const numbers[] = {"Auk fin", "7", "8", own.id, "aUK FIN"};
    struct up_item guest[sizeof numbers / sizeof numbers[0]];
    struct up_failure failure = {0};
    for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++) {
        guest[i] = plain_item(i == 2 ? "Auk fin" : "of a guest");
        snprintf(guest[i].stock_number, sizeof guest[i].stock_number, "%s", numbers[i]);
        assert_true(up_item_add(catalogue, &guest[i], NULL));
        sql(catalogue->database, "DELETE FROM local_mark WHERE record_id = (SELECT id FROM record"
                                 " ORDER BY rowid DESC LIMIT 1)");
    }
    assert_true(up_stock_find(catalogue, "Auk fin", &found, &failure));
    assert_string_equal(found.id, own.id);
    assert_true(up_stock_find(catalogue, "aUK FIN", &found, &failure));
    assert_string_equal(found.id, own.id);
    assert_true(up_stock_find(catalogue, own.id, &found, &failure));
    assert_string_equal(found.id, own.id);
    assert_true(up_stock_find(catalogue, "7", &found, &failure)); /* nothing of here is called so */
    assert_string_equal(found.id, guest[1].id);
    assert_true(found.elsewhere);
    read_list(catalogue, "name,kind,stock number\nTern fin,fin,7\nAuk fin,fin,8\n");
    assert_true(queue.entry[0].is_new);
    assert_string_equal(queue.entry[1].item.id, own.id);
    read_list(catalogue, "name,stock number\nof a guest,7\n");
    assert_string_equal(queue.entry[0].item.id, guest[1].id);
    read_list(catalogue, "stock number\n7\n");
    assert_string_equal(queue.entry[0].item.id, guest[1].id);
    up_catalogue_close(catalogue);
}

/* A barcode is a stock number; names and ids are typed. */
static void a_barcode_names_an_item(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item number = plain_item("fin"), found;
    snprintf(number.stock_number, sizeof number.stock_number, "boot");
    assert_true(up_item_add(catalogue, &number, NULL));
    struct up_item name = add_item(catalogue, "hood");
    assert_true(up_stock_find(catalogue, "boot", &found, &failure));
    assert_string_equal(found.id, number.id);
    assert_true(up_stock_find(catalogue, "hood", &found, &failure));
    assert_string_equal(found.id, name.id);
    assert_false(up_stock_find(catalogue, "nothing", &found, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "nothing");
    number.retired = true;
    assert_true(up_item_add(catalogue, &number, NULL));
    assert_false(up_stock_find(catalogue, "boot", &found, &failure));
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(what_was_measured_here_is_done),     TEST(what_was_scanned_goes_on),
        TEST(a_stock_list_is_read_by_its_header), TEST(names_alone_are_a_list_as_before),
        TEST(a_row_that_cannot_be_is_refused),    TEST(a_barcode_names_an_item),
        TEST(grams_are_read_in_one_way),          TEST(a_guests_number_takes_no_place)};
    return cmocka_run_group_tests_name("session: a list of items", tests, NULL, NULL);
}
