/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The plot through a real gnuplot: hostile names are drawn as they are, and none runs. */
#include "../catalogue/support.h"

#include <dirent.h>
#include <math.h>
#include <sys/time.h>

#include "../../firmware-host/report/draw.h"
#include "chance.h"
#include "drawing.h"
#include "report/report.h"

enum { NAMES = 100, LABEL_CHARACTERS = 40, FORMATTED_BYTES = 49 };

/* ---- names ---- */

static const char *const pieces[] = {
    "`touch MARK`",
    "\"; system(\"touch MARK\") #",
    "\" 1); system(\"touch MARK\"); set ytics (\"",
    "'; system('touch MARK') #",
    "\n!touch MARK\n",
    "\"\n!touch MARK\n\"",
    "\\\n!touch MARK",
    "\\`touch MARK\\`",
    "\\\"; !touch MARK #",
    "$(touch MARK)",
    "|touch MARK",
    "<touch MARK",
    "@macro",
    "@items",
    "\"",
    "'",
    "\\",
    "`",
    "\\\\\"",
    "\\042",
    "%",
    "%%",
    "100%silk",
    "50% foam",
    "%s%n%d",
    "%.900000000f",
    "%1000000000g",
    "%*d %q %l %T%",
    "\x01\x07\x1B[2J",
    "\t\v\f\x7F",
    "\r\nset output\r\n",
    "\xC3",
    "\xC3\"",
    "\xFF\xFE`touch MARK`",
    "\xED\xA0\x80\xC0\xA2",
    "\xE2\x80\xA8!touch MARK",
    "\xC3\xA9\xE2\x82\xAC\xF0\x9F\x98\x80",
    "<b>&amp;</b>]]><!--",
    "{/Bold x}^2_3~&{y}",
    ") items = 1 #",
};

/* The first are one piece alone, the others made of several. The number keeps them apart. */
static char *make_name(size_t number, struct chance *chance) {
    if (number < ARRAY(pieces)) {
        return up_text_format("%s<%zu>", pieces[number], number);
    }
    const char *a = pieces[chance_below(chance, ARRAY(pieces))],
               *b = pieces[chance_below(chance, ARRAY(pieces))],
               *c = pieces[chance_below(chance, ARRAY(pieces))];
    return up_text_format("<%zu>%s%s%s", number, a, b, chance_below(chance, 2) == 0 ? c : "");
}

static struct up_row plain_row(size_t number, const char *name, const char *water) {
    struct up_row row = {.buoyancy_g = 500 - 10 * (double)number,
                         .expanded_u_g = 3,
                         .tolerance_g = 50,
                         .water_temp_c = 20};
    snprintf(row.item_id, sizeof row.item_id, "item %zu", number);
    snprintf(row.name, sizeof row.name, "%s", name);
    snprintf(row.water, sizeof row.water, "%s", water);
    snprintf(row.class, sizeof row.class, number % 2 == 0 ? "undecided" : "positive");
    return row;
}

static struct up_row *make_hostile_rows(void) {
    struct up_row *row = up_allocate(2 * NAMES, sizeof *row);
    struct chance *chance = chance_begin(7);
    for (size_t i = 0; i < NAMES; i++) {
        char *name = make_name(i, chance);
        row[2 * i] = plain_row(i, name, i % 3 == 0 ? "tank" : "fresh");
        row[2 * i + 1] = plain_row(i, name, i % 3 == 0 ? "lake" : "sea");
        free(name);
    }
    chance_end(chance);
    return row;
}

/* ---- what was drawn ---- */

static void write_plot(struct up_row *row, size_t count) {
    struct up_failure failure = {0};
    struct up_rows rows = {.row = row, .count = count};
    unsigned pages;
    if (!up_plot_write(&rows, NULL, PLOTS_IN("."), &pages, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static bool have_gnuplot(void) {
    return system("command -v gnuplot >/dev/null 2>&1") == 0;
}

static const char *const page_names[] = {"items", "items-2", "items-3"},
                         *const scripts[] = {"items.gp", "items-2.gp", "items-3.gp"},
                         *const drawings[] = {"items.svg", "items-2.svg", "items-3.svg"};

/* Skips the test where there is no gnuplot. */
static void draw_plot(void) {
    struct up_failure failure = {0};
    if (!have_gnuplot()) {
        skip();
    }
    for (size_t i = 0; i < ARRAY(page_names) && access(scripts[i], F_OK) == 0; i++) {
        if (!up_plot_draw(".", page_names[i], NULL, &failure)) {
            fail_msg("%s", failure.text);
        }
    }
}

/* Freed by the caller. */
static char *read_whole(const char *path, size_t *length) {
    FILE *stream = fopen(path, "rb");
    size_t room = 1 << 24;
    char *bytes = up_allocate(room, 1);
    if (stream == NULL) {
        fail_msg("%s is not there", path);
    }
    *length = fread(bytes, 1, room - 1, stream);
    assert_true(*length > 0 && *length < room - 1);
    fclose(stream);
    return bytes;
}

/* UTF-8 without control characters: what XML allows. */
static void assert_clean(const char *drawing) {
    char *copy = up_text_format("%s", drawing);
    for (char *at = copy; *at != '\0'; at++) {
        *at = strchr("\n\t", *at) != NULL ? ' ' : *at;
    }
    char *clean = up_text_clean(copy, strlen(copy));
    assert_true(strcmp(copy, clean) == 0);
    free(clean);
    free(copy);
}

static char *read_page(const char *name) {
    size_t length;
    char *drawing = read_whole(name, &length);
    assert_int_equal(strlen(drawing), length);
    assert_non_null(strstr(drawing, "</svg>"));
    assert_clean(drawing);
    for (const char *at = drawing; (at = strchr(at, '&')) != NULL; at++) {
        assert_true(at[1] == '#' || at[1 + strspn(at + 1, "abcdefghijklmnopqrstuvwxyz")] == ';');
    }
    drawing_decode(drawing);
    return drawing;
}

/* All pages, with their entities decoded; freed by the caller. */
static char *read_drawing(void) {
    size_t length;
    char *png = read_whole("items.png", &length);
    assert_true(length > 100 && memcmp(png, "\x89PNG\r\n\x1A\n", 8) == 0);
    free(png);
    char *all = read_page(drawings[0]);
    for (size_t i = 1; i < ARRAY(drawings) && access(drawings[i], F_OK) == 0; i++) {
        char *page = read_page(drawings[i]), *both = up_text_format("%s%s", all, page);
        free(page);
        free(all);
        all = both;
    }
    return all;
}

static size_t characters_in(const char *text) {
    size_t count = 0;
    for (; *text != '\0'; text++) {
        count += ((unsigned char)*text & 0xC0) != 0x80;
    }
    return count;
}

static bool is_short(const char *label) {
    return characters_in(label) <= LABEL_CHARACTERS &&
           (strchr(label, '%') == NULL || strlen(label) <= FORMATTED_BYTES);
}

/* A name that fits is drawn whole, a longer one with its beginning and dots. */
static void assert_drawn(const char *drawing, const char *name) {
    enum { SURE_BYTES = 20 };
    char *clean = up_text_clean(name, strlen(name));
    bool drawn = is_short(clean) && drawing_has_text(drawing, clean);
    if (!is_short(clean)) {
        char *start = up_text_format(">%.*s", SURE_BYTES, clean);
        const char *found = strstr(drawing, start);
        const char *dots = found != NULL ? strstr(found, "...</text>") : NULL;
        drawn = dots != NULL && dots - found <= 1 + 4 * LABEL_CHARACTERS;
        free(start);
    }
    if (!drawn) {
        fail_msg("not drawn as it is: %s", clean);
    }
    free(clean);
}

static void assert_only_these(const char *const *names, size_t count) {
    DIR *here = opendir(".");
    assert_non_null(here);
    for (struct dirent *entry; (entry = readdir(here)) != NULL;) {
        bool known = strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0;
        for (size_t i = 0; i < count; i++) {
            known = known || strcmp(entry->d_name, names[i]) == 0;
        }
        if (!known) {
            fail_msg("%s was made", entry->d_name);
        }
    }
    closedir(here);
}

/* ---- the tests ---- */

static void hostile_names_are_drawn_and_do_not_run(void **state) {
    (void)state;
    static const char *const made[] = {"items.gp",    "items-2.gp",  "items-3.gp",  "items.tsv",
                                       "items-2.tsv", "items-3.tsv", "items.svg",   "items-2.svg",
                                       "items-3.svg", "items.png",   "items-2.png", "items-3.png"};
    struct up_row *row = make_hostile_rows();
    write_plot(row, 2 * NAMES);
    assert_only_these(made, 6);
    if (!have_gnuplot()) {
        free(row);
        skip();
    }
    draw_plot();
    assert_only_these(made, ARRAY(made));
    char *drawing = read_drawing();
    for (size_t i = 0; i < NAMES; i++) {
        assert_drawn(drawing, row[2 * i].name);
    }
    free(drawing);
    free(row);
}

/* A % makes gnuplot format the label, and cut it after some bytes. */
static void long_names_are_cut_between_characters(void **state) {
    (void)state;
#define FOUR "\xF0\x9F\x98\x80"
#define TWENTY                                                                                     \
    FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR \
        FOUR
#define TEN_X "xxxxxxxxxx"
    static const struct {
        const char *name, *drawn;
    } cases[] = {
        {TWENTY TWENTY, TWENTY TWENTY},
        {TWENTY TWENTY FOUR, TWENTY TWENTY "..."},
        {TEN_X TEN_X TEN_X TEN_X, TEN_X TEN_X TEN_X TEN_X},
        {NAME_300, "0123456789012345678901234567890123456789..."},
        {"%" FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR,
         "%" FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR}, /* 49 bytes */
        {"a%" FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR,
         "a%" FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR "..."},
        {"ab%" TWENTY, "ab%" FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR FOUR "..."},
        {TEN_X TEN_X TEN_X "xxxxxxxxx%", TEN_X TEN_X TEN_X "xxxxxxxxx%"},
        {TEN_X TEN_X TEN_X TEN_X "%", TEN_X TEN_X TEN_X TEN_X "..."},
        {TEN_X TEN_X "%%%%%%%%%%%%%%%%%%%%", TEN_X TEN_X "%%%%%%%%%%%%%%%%%%%%"},
    };
    struct up_row row[ARRAY(cases)];
    for (size_t i = 0; i < ARRAY(cases); i++) {
        row[i] = plain_row(i, cases[i].name, "fresh");
    }
    write_plot(row, ARRAY(row));
    draw_plot();
    char *drawing = read_drawing();
    for (size_t i = 0; i < ARRAY(cases); i++) {
        if (!drawing_has_text(drawing, cases[i].drawn)) {
            fail_msg("not drawn: %s", cases[i].drawn);
        }
    }
    free(drawing);
}

static void any_single_water_is_drawn(void **state) {
    (void)state;
    static const char *const waters[] = {"fresh", "sea", "tank"};
    for (size_t i = 0; i < ARRAY(waters); i++) {
        struct up_row row = plain_row(i, waters[i], waters[i]);
        write_plot(&row, 1);
        draw_plot();
        char *drawing = read_drawing();
        assert_true(drawing_has_text(drawing, waters[i]));
        free(drawing);
        assert_int_equal(remove("items.svg"), 0);
        assert_int_equal(remove("items.png"), 0);
    }
}

static void a_missing_number_leaves_the_others(void **state) {
    (void)state;
    struct up_row row[] = {plain_row(0, "whole", "fresh"), plain_row(1, "lacking", "fresh")};
    row[1].buoyancy_g = row[1].expanded_u_g = row[1].tolerance_g = (double)NAN;
    write_plot(row, ARRAY(row));
    draw_plot();
    char *drawing = read_drawing();
    assert_true(drawing_has_text(drawing, "whole") && drawing_has_text(drawing, "lacking"));
    free(drawing);
}

static void it_draws_again_elsewhere(void **state) {
    (void)state;
    struct up_row row = plain_row(0, "Fin", "fresh");
    struct up_failure failure = {0};
    write_plot(&row, 1);
    assert_int_equal(mkdir("it's \"else where\" `x`", 0777), 0);
    assert_int_equal(rename("items.gp", "it's \"else where\" `x`/items.gp"), 0);
    assert_int_equal(rename("items.tsv", "it's \"else where\" `x`/items.tsv"), 0);
    if (!have_gnuplot()) {
        skip();
    }
    if (!up_plot_draw("it's \"else where\" `x`", "items", NULL, &failure)) {
        fail_msg("%s", failure.text);
    }
    assert_int_equal(chdir("it's \"else where\" `x`"), 0);
    free(read_drawing());
    assert_int_equal(chdir(".."), 0);
}

/* Each name is a text of its own, and no letter of it may turn what is drawn. */
static void a_name_shares_no_text_with_a_number(void **state) {
    (void)state;
    struct up_row row[] = {plain_row(0, "\u05E1\u05E0\u05E4\u05D9\u05E8", "fresh"),
                           plain_row(1, "over\u202E fin", "fresh")};
    write_plot(row, ARRAY(row));
    draw_plot();
    char *drawing = read_drawing();
    assert_true(drawing_has_text(drawing, "\u05E1\u05E0\u05E4\u05D9\u05E8"));
    assert_true(drawing_has_text(drawing, "over\uFFFD fin"));
    assert_null(strstr(drawing, "\u202E"));
    free(drawing);
}

/* A long name is cut, what distinguishes it from another is not. */
static void names_that_repeat_are_told_apart(void **state) {
    (void)state;
    struct up_row row[] = {plain_row(0, NAME_300, "fresh"), plain_row(1, "Fin", "fresh"),
                           plain_row(2, "100% \u05E1", "fresh")};
    snprintf(row[0].distinction, sizeof row[0].distinction, "size L, maker Auk, left, and 50%%");
    snprintf(row[1].distinction, sizeof row[1].distinction, "3f2a1b00");
    snprintf(row[2].distinction, sizeof row[2].distinction, "size M");
    write_plot(row, ARRAY(row));
    draw_plot();
    char *drawing = read_drawing();
    assert_true(drawing_has_text(drawing, "012345678901..., size L, maker Auk, left, and 50%"));
    assert_true(drawing_has_text(drawing, "Fin, 3f2a1b00"));
    assert_true(drawing_has_text(drawing, "100% \u05E1, size M"));
    free(drawing);
}

static void data_holds_no_foreign_text(void **state) {
    (void)state;
    struct up_row row[] = {plain_row(0, "`touch MARK`", "fresh"),
                           plain_row(0, "`touch MARK`", "`touch MARK`"), plain_row(1, "b", "tank"),
                           plain_row(2, "c", "sea")};
    size_t length;
    snprintf(row[0].class, sizeof row[0].class, "`touch MARK`");
    write_plot(row, ARRAY(row));
    char *data = read_whole("items.tsv", &length);
    const char *lines = strstr(data, "\n1\t");
    assert_non_null(lines);
    assert_string_equal(lines, "\n1\t1\t500\t3\t50\t0\t0\t0\t0\t0\t0\t0\t0\t0\n2\t3\t490\t3\t50\t1"
                               "\t0\t0\t0\t0\t0\t0\t0\t0\n"
                               "3\t2\t480\t3\t50\t0\t0\t0\t0\t0\t0\t0\t0\t0\n");
    assert_null(strstr(data, "MARK"));
    free(data);
}

/* A mark behind the class, and what it means once at the foot. */
static void what_no_body_spoke_for_is_marked(void **state) {
    (void)state;
    struct up_row row[] = {plain_row(0, "a", "fresh"), plain_row(1, "b", "fresh"),
                           plain_row(2, "c", "lake")}; /* not drawn */
    size_t length;
    row[0].elsewhere = true;
    row[0].foam_depth_m = 0.4;
    row[1].checked = UP_CHECKED_NOT;
    row[1].rejudged = true;
    row[2].checked = UP_CHECKED_OUTSIDE;
    write_plot(row, ARRAY(row));
    char *data = read_whole("items.tsv", &length), *script = read_whole("items.gp", &length);
    assert_non_null(strstr(data, "\n1\t1\t500\t3\t50\t0\t0\t0\t0\t1\t0\t0\t0."
                                 "4\t0\n2\t1\t490\t3\t50\t1\t0\t0\t1\t0\t0\t1\t0\t0\n"));
    assert_non_null(strstr(script, "< came from elsewhere, by import or merge"));
    assert_non_null(strstr(script, "unchecked: no reference body shows that the bench was right"));
    assert_non_null(strstr(script, "* judged again since it was measured"));
    assert_null(strstr(script, "outside its limits"));
    free(data);
    free(script);
    if (have_gnuplot()) {
        struct up_failure failure = {0};
        assert_true(up_plot_draw(".", "items", NULL, &failure));
        char *svg = read_whole("items.svg", &length);
        assert_non_null(strstr(svg, "undecided"));
        assert_non_null(strstr(svg, "positive, unchecked *"));
        assert_null(strstr(svg, "undecided, unchecked"));
        assert_non_null(strstr(svg, "undecided &lt;, at 0.4 m only"));
        assert_non_null(strstr(svg, "no reference body shows"));
        free(svg);
    }
}

/* A tolerance of 400 g must not make an axis on which 20 g look like nothing. */
static void the_axis_is_that_of_the_results(void **state) {
    (void)state;
    struct up_row row[] = {plain_row(0, "usual", "fresh"), plain_row(1, "wide", "fresh")};
    size_t length;
    row[0].buoyancy_g = -60;
    row[1].buoyancy_g = 20;
    row[1].tolerance_g = 400;
    row[1].unusual = true;
    write_plot(row, ARRAY(row));
    char *script = read_whole("items.gp", &length);
    assert_non_null(strstr(script, "\nlow = -63\nhigh = 23\nunusual = 1\n"));
    free(script);
    draw_plot();
    char *drawing = read_drawing();
    assert_non_null(strstr(drawing, ">\xC2\xBB<"));
    assert_non_null(strstr(drawing, ">\xC2\xAB<"));
    assert_non_null(strstr(drawing, ">positive, neutral within 400 g<"));
    assert_non_null(strstr(drawing, ">Each number is of the piece or pair that was weighed, not of "
                                    "its model."));
    assert_non_null(strstr(drawing, ">A weight check in the water decides.<"));
    assert_non_null(strstr(drawing, ">undecided<")); /* the usual tolerance is not shown */
    free(drawing);
}

/* ---- what fails ---- */

static void without_rows_nothing_is_written(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_rows rows = {0};
    unsigned pages;
    assert_false(up_plot_write(&rows, NULL, PLOTS_IN("."), &pages, &failure));
    assert_says(&failure, UP_STATUS_UNABLE, "measure an item first");
    assert_only_these(NULL, 0);
}

static void a_place_that_cannot_be_written_is_told(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_row row = plain_row(0, "Fin", "fresh");
    struct up_rows rows = {.row = &row, .count = 1};
    unsigned pages;
    assert_false(up_plot_write(&rows, NULL, PLOTS_IN("no/such"), &pages, &failure));
    assert_says(&failure, UP_STATUS_UNABLE, "no/such/items");
}

/* PATH with nothing in it but, where given, a gnuplot of that text. */
static void set_path(const char *script) {
    char here[200];
    assert_non_null(getcwd(here, sizeof here));
    char *path = up_text_format("%s/bin", here);
    assert_int_equal(mkdir(path, 0777), 0);
    setenv("PATH", path, 1);
    if (script != NULL) {
        FILE *stream = fopen("bin/gnuplot", "w");
        assert_non_null(stream);
        assert_true(fputs(script, stream) != EOF && fclose(stream) == 0);
        assert_int_equal(chmod("bin/gnuplot", 0755), 0);
    }
    free(path);
}

/* What a gnuplot does in the end: -e names the folder. */
#define DRAWS                                                                                      \
    "into=$(echo \"$3\" | /bin/sed 's/^into = \"//; s/\"$//')\n"                                   \
    "echo '</svg>' >${into}items.svg; echo IEND >${into}items.png\n"

static char *usual_path;

static int enter_here(void **state) {
    usual_path = up_text_format("%s", getenv("PATH") != NULL ? getenv("PATH") : "/usr/bin:/bin");
    return enter(state);
}

static int leave_here(void **state) {
    setenv("PATH", usual_path, 1);
    free(usual_path);
    return leave(state);
}

static void assert_not_drawn(const char *words) {
    struct up_failure failure = {0};
    assert_false(up_plot_draw(".", "items", NULL, &failure));
    assert_says(&failure, UP_STATUS_UNABLE, words);
}

static void a_missing_gnuplot_is_named(void **state) {
    (void)state;
    struct up_row row = plain_row(0, "Fin", "fresh");
    write_plot(&row, 1);
    set_path(NULL);
    assert_not_drawn("cannot find gnuplot");
    assert_not_drawn("gnuplot-nox");
    assert_int_equal(access("items.gp", R_OK), 0);
}

static void a_gnuplot_that_fails_is_told(void **state) {
    (void)state;
    set_path("#!/bin/sh\nexit 3\n");
    assert_not_drawn("gnuplot could not draw ./items.gp (status 3)");
    FILE *stream = fopen("bin/gnuplot", "w");
    assert_true(fputs("#!/bin/sh\nkill -9 $$\n", stream) != EOF && fclose(stream) == 0);
    assert_not_drawn("gnuplot was ended by a signal (Killed)");
}

static void it_runs_without_start_up_file_and_keyboard(void **state) {
    (void)state;
    struct up_failure failure = {0};
    size_t length;
    set_path("#!/bin/sh\nprintf '%s|' \"$1\" \"$2\" \"$4\" >arguments\n"
             "while read -r line; do exit 4; done\n" DRAWS "echo to nobody\n");
    if (!up_plot_draw(".", "items", NULL, &failure)) {
        fail_msg("%s", failure.text);
    }
    char *arguments = read_whole("arguments", &length);
    assert_string_equal(arguments, "-d|-e|items.gp|");
    free(arguments);
}

/* ---- a folder that others may write ---- */

static void a_picture_replaces_a_link_and_leaves_what_it_led_to(void **state) {
    (void)state;
    struct up_row row = plain_row(0, "Fin", "fresh");
    struct stat found;
    size_t length;
    write_plot(&row, 1);
    write_all("victim", "precious");
    assert_int_equal(symlink("victim", "items.svg"), 0);
    draw_plot();
    char *victim = read_whole("victim", &length);
    assert_string_equal(victim, "precious");
    free(victim);
    assert_true(lstat("items.svg", &found) == 0 && S_ISREG(found.st_mode));
}

static void a_pipe_in_the_way_is_told_and_not_waited_for(void **state) {
    (void)state;
    set_path("#!/bin/sh\n" DRAWS);
    assert_int_equal(mkfifo("items.svg", 0600), 0);
    assert_not_drawn("cannot write ./items.svg: Invalid argument; name a file");
    assert_int_equal(access("items.png", F_OK), -1);
}

/* In a shared folder somebody may have left a program of that name. */
static void only_whole_paths_lead_to_gnuplot(void **state) {
    (void)state;
    set_path(NULL);
    write_all("gnuplot", "#!/bin/sh\n>ran\n");
    assert_int_equal(chmod("gnuplot", 0755), 0);
    static const char *const paths[] = {"",  ":",  ":/nowhere", "/nowhere:", "/nowhere::/nowhere",
                                        ".", "./", "../here"};
    for (size_t i = 0; i < ARRAY(paths); i++) {
        setenv("PATH", paths[i], 1);
        assert_not_drawn("cannot find gnuplot");
    }
    unsetenv("PATH");
    assert_not_drawn("cannot find gnuplot");
    assert_int_equal(access("ran", F_OK), -1);
}

static void a_gnuplot_that_hangs_is_ended(void **state) {
    (void)state;
    set_path("#!/bin/sh\nexec /bin/sleep 60\n");
    draw_patience_s = 1;
    assert_not_drawn("gnuplot did not finish ./items.gp in 1 s and was ended");
    draw_patience_s = 120;
}

static void nothing_is_left_where_it_was_drawn(void **state) {
    (void)state;
    char here[200];
    struct up_failure failure = {0};
    struct stat found;
    assert_non_null(getcwd(here, sizeof here));
    assert_int_equal(mkdir("drawn", 0700), 0);
    char *place = up_text_format("%s/drawn", here);
    setenv("TMPDIR", place, 1);
    free(place);
    set_path("#!/bin/sh\n" DRAWS);
    bool good = up_plot_draw(".", "items", NULL, &failure);
    unsetenv("TMPDIR");
    assert_true(good);
    assert_int_equal(rmdir("drawn"), 0); /* as it is empty */
    assert_true(stat("items.svg", &found) == 0 && stat("items.png", &found) == 0);
}

static void do_nothing(int number) {
    (void)number;
}

/* A signal that only sets a flag must not pass a gnuplot that is still at work for a plot. */
static void a_signal_does_not_end_the_waiting(void **state) {
    (void)state;
    struct sigaction action = {.sa_handler = do_nothing}, before;
    const struct itimerval soon = {.it_value = {.tv_usec = 100000},
                                   .it_interval = {.tv_usec = 100000}},
                           never = {0};
    set_path("#!/bin/sh\n/bin/sleep 0.5\nexit 3\n");
    sigemptyset(&action.sa_mask);
    assert_int_equal(sigaction(SIGALRM, &action, &before), 0);
    assert_int_equal(setitimer(ITIMER_REAL, &soon, NULL), 0);
    struct up_failure failure = {0};
    bool good = up_plot_draw(".", "items", NULL, &failure);
    assert_int_equal(setitimer(ITIMER_REAL, &never, NULL), 0);
    assert_int_equal(sigaction(SIGALRM, &before, NULL), 0);
    assert_false(good);
    assert_says(&failure, UP_STATUS_UNABLE, "(status 3)");
}

#define PLOT_TEST(function) cmocka_unit_test_setup_teardown(function, enter_here, leave_here)

int main(void) {
    const struct CMUnitTest tests[] = {
        PLOT_TEST(hostile_names_are_drawn_and_do_not_run),
        PLOT_TEST(long_names_are_cut_between_characters),
        PLOT_TEST(any_single_water_is_drawn),
        PLOT_TEST(a_missing_number_leaves_the_others),
        PLOT_TEST(it_draws_again_elsewhere),
        PLOT_TEST(a_name_shares_no_text_with_a_number),
        PLOT_TEST(names_that_repeat_are_told_apart),
        PLOT_TEST(data_holds_no_foreign_text),
        PLOT_TEST(what_no_body_spoke_for_is_marked),
        PLOT_TEST(the_axis_is_that_of_the_results),
        PLOT_TEST(without_rows_nothing_is_written),
        PLOT_TEST(a_place_that_cannot_be_written_is_told),
        PLOT_TEST(a_missing_gnuplot_is_named),
        PLOT_TEST(a_gnuplot_that_fails_is_told),
        PLOT_TEST(it_runs_without_start_up_file_and_keyboard),
        PLOT_TEST(a_signal_does_not_end_the_waiting),
        PLOT_TEST(a_picture_replaces_a_link_and_leaves_what_it_led_to),
        PLOT_TEST(a_pipe_in_the_way_is_told_and_not_waited_for),
        PLOT_TEST(only_whole_paths_lead_to_gnuplot),
        PLOT_TEST(a_gnuplot_that_hangs_is_ended),
        PLOT_TEST(nothing_is_left_where_it_was_drawn),
    };
    return cmocka_run_group_tests_name("report: plots", tests, NULL, NULL);
}
