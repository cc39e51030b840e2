/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A list of items, and what was done of it. */
#include "../catalogue/support.h"

#include "session/session.h"

static void add_run(struct up_catalogue *catalogue, const struct up_item *item, const char *queue,
                    const char *how_ended) {
    json_t *content =
        json_pack("{s:s, s:s, s:s, s:{s:s, s:s}}", "what", "measure", "item_id", item->id,
                  "how_ended", how_ended, "queue", "id", queue, "list", "list.txt");
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

int main(void) {
    const struct CMUnitTest tests[] = {TEST(what_was_measured_here_is_done)};
    return cmocka_run_group_tests_name("session: a list of items", tests, NULL, NULL);
}
