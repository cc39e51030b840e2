/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The live screen on a terminal: ncurses draws the cells, keys become lines for the operator. */
#define NCURSES_NOMACROS
#include <curses.h>
#include <langinfo.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

#include "internal.h"
#include "live_cells.h"
#include "panel_internal.h"
#include "text/clock.h"
#include "text/text.h"

enum { FAULTS_SHOWN = 12, EMPTY_READS_MAX = 5, KEYS_A_READ = 256 };

/* No screen that anybody reads has more cells; ncurses would take gigabytes for some that a program
   pretends to have. A choice of ours. */
enum { ROWS_MAX = 500, COLUMNS_MAX = 1000 };

/* A question cannot be read that soon: such a key was meant for the one before, or bounced. */
static const double TOO_SOON_S = 0.4;

static const char PEDAL_HOW[] =
    "Pedal: short is done, long redoes it, two short stop after this step";

struct live {
    SCREEN *screen;
    FILE *input;
    struct up_canvas canvas;
    short pair[UP_LIVE_STYLES]; /* of colours */
    char typed[40], refused[300];
    double begin_s, asked_s;
    char fault_text[FAULTS_SHOWN][320];
    struct up_live_fault fault[FAULTS_SHOWN];
    unsigned faults;
    struct up_result *result; /* of the trials so far, one a water */
    unsigned results;
    unsigned empty_reads; /* in a row, though input was there: the terminal is gone */
    FILE *log;            /* what is shown once more on the normal screen */
    char *log_text;
    size_t log_size;
    struct sigaction before_abort, before_quit, before_resize;
};

/* ---- entering and leaving ---- */

/* For a signal that comes while anything may be half done: all that is needed then, kept ready. */
static struct {
    int descriptor;
    char leave[128]; /* to the normal screen */
    struct termios settings;
} terminal;

/* Restores the terminal, whatever ends the program. Safe in a signal handler. */
static void restore_terminal(void) {
    if (write(terminal.descriptor, terminal.leave, strlen(terminal.leave)) >= 0) {
        tcsetattr(terminal.descriptor, TCSANOW, &terminal.settings);
    }
}

static void on_fatal_signal(int number) {
    restore_terminal();
    signal(number, SIG_DFL);
    raise(number);
}

static up_memory_end *before_memory;

static void on_out_of_memory(void) {
    restore_terminal();
    if (before_memory != NULL) {
        before_memory();
    }
}

static void catch_fatal_signals(struct live *live) {
    struct sigaction action = {.sa_handler = on_fatal_signal};
    sigemptyset(&action.sa_mask);
    sigaction(SIGABRT, &action, &live->before_abort);
    sigaction(SIGQUIT, NULL, &live->before_quit);
    if (live->before_quit.sa_handler != SIG_IGN) {
        sigaction(SIGQUIT, &action, NULL);
    }
    before_memory = up_at_out_of_memory(on_out_of_memory);
}

/* The size is read before each picture; ncurses must not follow any size by itself. */
static void ignore_resizing(struct live *live) {
    struct sigaction action = {.sa_handler = SIG_IGN};
    sigemptyset(&action.sa_mask);
    sigaction(SIGWINCH, &action, &live->before_resize);
}

/* Letters and ground stay the terminal's own where a style has no colour: pair 0. */
static void make_colours(struct live *live) {
    static const short colour[UP_LIVE_STYLES] = {[UP_LIVE_DO] = COLOR_GREEN,
                                                 [UP_LIVE_WAIT] = COLOR_CYAN,
                                                 [UP_LIVE_BAD] = COLOR_RED,
                                                 [UP_LIVE_GOOD] = COLOR_GREEN};
    const char *no_color = getenv("NO_COLOR");
    if ((no_color != NULL && no_color[0] != '\0') || !has_colors() || start_color() == ERR ||
        use_default_colors() == ERR) {
        return;
    }
    for (short style = UP_LIVE_PLAIN; style < UP_LIVE_STYLES; style++) {
        if (colour[style] != COLOR_BLACK && init_pair(style, colour[style], -1) != ERR) {
            live->pair[style] = style;
        }
    }
}

static void read_size(const struct up_operator *op, int *rows, int *columns) {
    struct winsize size = {0};
    if (ioctl(fileno(op->output), TIOCGWINSZ, &size) == 0 && size.ws_row > 0 && size.ws_col > 0) {
        *rows = size.ws_row;
        *columns = size.ws_col;
    }
}

static void print_plain_note(const struct up_operator *op, const char *why) {
    fprintf(op->output, "note: %s: plain lines instead of the live screen\n", why);
    fflush(op->output);
}

static bool fits_screen(const struct up_operator *op) {
    int rows = 0, columns = 0;
    char why[120];
    read_size(op, &rows, &columns);
    if (rows == 0 || (rows >= UP_LIVE_ROWS && columns >= UP_LIVE_COLUMNS && rows <= ROWS_MAX &&
                      columns <= COLUMNS_MAX)) {
        return true;
    }
    bool small = rows < UP_LIVE_ROWS || columns < UP_LIVE_COLUMNS;
    snprintf(why, sizeof why, "the terminal has %dx%d cells and needs %s%dx%d", columns, rows,
             small ? "" : "at most ", small ? UP_LIVE_COLUMNS : COLUMNS_MAX,
             small ? UP_LIVE_ROWS : ROWS_MAX);
    print_plain_note(op, why);
    return false;
}

static void set_up_terminal(struct live *live) {
    cbreak();
    noecho();
    nodelay(stdscr, TRUE);
    keypad(stdscr, TRUE);
    set_escdelay(25);
    typeahead(-1);
    curs_set(0);
    make_colours(live);
}

static void free_live(struct live *live) {
    sigaction(SIGWINCH, &live->before_resize, NULL);
    if (live->input != NULL) {
        fclose(live->input);
    }
    fclose(live->log);
    free(live->log_text);
    free(live->canvas.cell);
    free(live->result);
    free(live);
}

/* Some ten thousand draws: after a trial, not with each picture. */
static void compute_results(const struct up_operator *op, struct live *live) {
    if (!up_procedure_results(op->procedure, live->result, &live->results, NULL)) {
        live->results = 0;
    }
}

static struct live *make_live(const struct up_operator *op) {
    struct live *live = up_allocate(1, sizeof *live);
    int input = dup(op->keyboard);
    live->begin_s = up_monotonic_s();
    ignore_resizing(live);
    live->canvas.utf8 = strcmp(nl_langinfo(CODESET), "UTF-8") == 0;
    live->result = up_allocate(UP_WATERS_MAX + 1, sizeof *live->result);
    live->log = open_memstream(&live->log_text, &live->log_size);
    live->input = input >= 0 ? fdopen(input, "r") : NULL;
    if (live->log == NULL) {
        up_out_of_memory();
    }
    return live;
}

void live_begin(struct up_operator *op) {
    struct live *live;
    terminal.descriptor = fileno(op->output);
    if (!fits_screen(op)) {
        return;
    }
    live = make_live(op);
    if (live->input != NULL &&
        live_terminal_places(terminal.descriptor, terminal.leave, sizeof terminal.leave) &&
        tcgetattr(terminal.descriptor, &terminal.settings) == 0) {
        live->screen = newterm(NULL, op->output, live->input);
    }
    if (live->screen == NULL) {
        free_live(live);
        print_plain_note(op, "this terminal (see TERM) cannot show the live screen");
        return;
    }
    compute_results(op, live); /* a session may go on from an earlier one */
    catch_fatal_signals(live);
    set_up_terminal(live);
    op->live = live;
}

void live_end(struct up_operator *op) {
    struct live *live = op->live;
    if (live == NULL) {
        return;
    }
    endwin();
    delscreen(live->screen);
    sigaction(SIGABRT, &live->before_abort, NULL);
    sigaction(SIGQUIT, &live->before_quit, NULL);
    up_at_out_of_memory(before_memory);
    fflush(live->log);
    fputs(live->log_text, op->output);
    fflush(op->output);
    op->live = NULL;
    free_live(live);
}

/* ---- what is shown ---- */

static void add_shown(struct live *live, const char *shown, bool note) {
    if (live->faults == FAULTS_SHOWN) {
        memmove(live->fault_text, live->fault_text + 1,
                sizeof live->fault_text - sizeof live->fault_text[0]);
        memmove(live->fault, live->fault + 1, sizeof live->fault - sizeof live->fault[0]);
        live->faults--;
    }
    snprintf(live->fault_text[live->faults], sizeof live->fault_text[0], "%s", shown);
    live->fault[live->faults].note = note;
    live->fault[live->faults++].at_s = up_monotonic_s() - live->begin_s;
    for (unsigned i = 0; i < live->faults; i++) {
        live->fault[i].text = live->fault_text[i];
    }
}

static void add_fault(const struct up_operator *op, const char *text, bool note) {
    UP_FREED char *shown = up_style_text(&op->style, text);
    add_shown(op->live, shown, note);
}

static void add_check(const struct up_operator *op, const struct up_reference_check *check) {
    UP_FREED char *shown = describe_check(op, check);
    add_shown(op->live, shown, !check->outside);
}

static void take_event(const struct up_operator *op, const struct up_event *event) {
    struct live *live = op->live;
    switch (event->kind) {
    case UP_EVENT_FAULT:
        add_fault(op, event->text, false);
        break;
    case UP_EVENT_NOTE: /* a trial may have been left out */
        add_fault(op, event->text, true);
        compute_results(op, live);
        break;
    case UP_EVENT_CHECK:
        add_check(op, &event->check);
        break;
    case UP_EVENT_TRIAL:
        compute_results(op, live);
        break;
    case UP_EVENT_ASK:
    case UP_EVENT_PLATEAU:
    case UP_EVENT_FINISHED:
        break;
    }
}

void live_event(struct up_operator *op, const struct up_event *event) {
    struct live *live = op->live;
    FILE *output = op->output;
    if (event->kind == UP_EVENT_ASK) {
        op->ask = event->ask;
        live->asked_s = up_monotonic_s();
        live->typed[0] = live->refused[0] = '\0';
    } else if (event->kind != UP_EVENT_PLATEAU && event->kind != UP_EVENT_FINISHED) {
        take_event(op, event);
        op->output = live->log; /* the same in plain words, for later */
        op->kind->event(op, event);
        op->output = output;
    }
}

void live_refused(struct up_operator *op, const char *why) {
    UP_FREED char *shown = up_style_text(&op->style, why);
    snprintf(op->live->refused, sizeof op->live->refused, "%s", shown);
    op->live->typed[0] = '\0';
}

/* ---- keys ---- */

static bool is_asked(const struct up_operator *op) {
    unsigned open_ask = up_procedure_view(op->procedure).open_ask;
    return open_ask != 0 && op->ask.id == open_ask;
}

static void type_letter(struct up_operator *op, int key) {
    struct live *live = op->live;
    size_t length = strlen(live->typed);
    bool number = is_asked(op) && op->ask.wants_number;
    bool word = is_asked(op) && op->ask.action == UP_ACTION_CONFIRM; /* "accept" is typed out */
    live->refused[0] = '\0';
    if (key == 27 || key == KEY_BACKSPACE || key == '\b' || key == 127) {
        live->typed[key == 27 || length == 0 ? 0 : length - 1] = '\0';
    } else if (key <= 0 || key >= 127 || word || strchr("saq", key) == NULL) {
        if (!(number || word) || key < ' ' || key > '~') {
            return;
        }
        if (length + 1 < sizeof live->typed) {
            live->typed[length] = (char)key;
            live->typed[length + 1] = '\0';
        }
    } else if (key == 'q' || is_asked(op)) {
        live->typed[0] = (char)key;
        live->typed[1] = '\0';
    }
}

static bool enter(struct up_operator *op, struct up_reply *reply) {
    struct live *live = op->live;
    char line[sizeof live->typed];
    if (up_monotonic_s() - live->asked_s < TOO_SOON_S) {
        return false;
    }
    memcpy(line, live->typed, sizeof line);
    live->typed[0] = '\0';
    if (is_asked(op)) {
        return op->kind->line(op, line, reply);
    }
    *reply = (struct up_reply){.kind = UP_REPLY_STOP};
    return strcmp(line, "q") == 0;
}

bool live_read(struct up_operator *op, struct up_reply *reply) {
    struct live *live = op->live;
    int key;
    live->empty_reads++;
    for (int i = 0; i < KEYS_A_READ && (key = getch()) != ERR; i++) {
        live->empty_reads = 0;
        if (key != '\n' && key != '\r' && key != KEY_ENTER) {
            type_letter(op, key);
        } else if (enter(op, reply)) {
            return true;
        }
    }
    op->ended = op->ended || live->empty_reads > EMPTY_READS_MAX;
    *reply = (struct up_reply){.kind = UP_REPLY_STOP};
    return op->ended;
}

/* ---- the view ---- */

static void fill_sentence(const struct up_operator *op, const char *before, char *sentence,
                          size_t size) {
    UP_FREED char *text = describe_ask(op, &op->ask);
    snprintf(sentence, size, "%s%s", before, text);
}

/* A quick weighing tells the class while the item still hangs. */
static bool describe_class(const struct up_operator *op, char *words, size_t words_size,
                           char *sentence, size_t size) {
    const struct up_quick_progress *quick = up_procedure_quick(op->procedure);
    if (quick == NULL || op->ask.action == UP_ACTION_IMMERSE) {
        return false;
    }
    if (op->ask.action == UP_ACTION_CONFIRM && quick->put_aside) {
        snprintf(words, words_size, "near a line");
        fill_sentence(op, "", sentence, size);
        return true;
    }
    if (quick->class == UP_CLASS_UNDECIDED || op->ask.action != UP_ACTION_LIFT_OUT) {
        return false;
    }
    bool most = !isnan(quick->at_most_kg);
    UP_FREED char *text = up_style_text(&op->style, op->ask.text);
    char net[UP_SHOWN_SIZE];
    double g = 1e3 * (most ? quick->at_most_kg : quick->buoyancy_kg);
    up_style_mass(&op->style, most ? up_style_bound(&op->style, g) : g, net);
    snprintf(words, words_size, "tank %s", up_class_name(quick->class));
    snprintf(sentence, size, "%.200s: %s%s. %s", op->ask.item_name, most ? "at most " : "", net,
             text);
    return true;
}

static void describe_state(const struct up_operator *op, bool overloaded, bool away,
                           struct up_live_view *view, char *words, size_t words_size,
                           char *sentence, size_t size) {
    view->words = words;
    view->sentence = sentence;
    view->mood = UP_LIVE_BAD;
    if (overloaded) {
        snprintf(words, words_size, "load off!");
        snprintf(sentence, size, "Take the load off at once: it is more than the cell can carry.");
    } else if (away) {
        snprintf(words, words_size, "no device");
        snprintf(sentence, size,
                 "The device is gone: check its cable. The step is asked again when "
                 "it is back.");
    } else if (up_operator_water_is_low(op)) {
        snprintf(words, words_size, "water low");
        snprintf(sentence, size,
                 "The water stands too low: fill it up. The step is asked again when it is back.");
    } else if (view->asks) {
        view->mood = UP_LIVE_DO;
        if (!describe_class(op, words, words_size, sentence, size)) {
            up_live_words(&op->ask, words, words_size);
            fill_sentence(op, "", sentence, size);
        }
    } else {
        view->mood = UP_LIVE_WAIT;
        snprintf(words, words_size, view->reading.reading ? "wait: %.0f s" : "wait",
                 view->reading.remaining_s);
        fill_sentence(op, "Hands off: taking the reading. Done: ", sentence, size);
    }
}

static void fill_load(const struct up_operator *op, bool has_tare, bool away,
                      struct up_live_view *view) {
    double factor = op->counts_per_kg != 0 ? 1e3 / op->counts_per_kg : 1;
    view->load_unit = op->counts_per_kg != 0 ? "g" : op->loads_in_kg ? "kg" : "counts";
    view->g_per_count = op->counts_per_kg != 0 ? 1e3 / op->counts_per_kg : 0;
    view->step_g = fabs(up_procedure_view(op->procedure).rig->division_counts * view->g_per_count);
    view->load = op->is_typed || !has_tare || away ? (double)NAN
                                                   : factor * up_procedure_live_load(op->procedure);
    view->noise = fabs(factor) * up_procedure_noise_floor(op->procedure);
}

static void fill_measurement(const struct up_procedure_view *now, const struct live *live,
                             struct up_live_view *view) {
    const struct up_measurement *measurement = now->measurement;
    view->what = "measure";
    view->item_name = measurement->item.name;
    view->temp_c = measurement->water_temp_c;
    view->trial = measurement->trial;
    view->trials = measurement->trials;
    view->trials_planned = now->planned;
    view->quick = measurement->quick.on;
    view->at_most = now->at_most || view->quick;
    view->result = live->result;
    view->results = live->results;
    view->water = measurement->water;
    view->waters = view->quick && !(measurement->quick.mass_kg > 0) ? 0 : measurement->waters;
}

static void fill_loadings(const struct up_procedure_view *now, struct up_live_view *view) {
    view->what = "calibrate";
    view->temp_c = (double)NAN;
    view->point = now->loadings->point;
    view->points = now->loadings->points;
    view->points_planned = now->planned;
}

static struct up_live_view make_view(const struct up_operator *op, bool away,
                                     const struct up_procedure_view *now) {
    const struct live *live = op->live;
    struct up_live_view view = {.style = op->style,
                                .bench = now->rig->name,
                                .place = op->place,
                                .elapsed_s = up_monotonic_s() - live->begin_s,
                                .reading = up_procedure_reading(op->procedure),
                                .fault = live->fault,
                                .faults = live->faults,
                                .asks = is_asked(op) && !away,
                                .question = op->ask.action == UP_ACTION_CONFIRM,
                                .accepts = op->ask.accepts,
                                .how = op->ask.how != NULL ? op->ask.how
                                       : op->by_pedal      ? PEDAL_HOW
                                                           : NULL,
                                .typed = live->typed,
                                .refused = live->refused};
    view.in_air = op->ask.action == UP_ACTION_HANG_IN_AIR;
    view.unit = view.asks && op->ask.wants_number ? asked_unit(op) : NULL;
    const struct up_quick_progress *quick = up_procedure_quick(op->procedure);
    if (quick != NULL && quick->class != UP_CLASS_UNDECIDED) {
        view.told = up_class_name(quick->class);
    }
    if (now->measurement != NULL) {
        fill_measurement(now, live, &view);
    } else {
        fill_loadings(now, &view);
    }
    return view;
}

static void put_cells(const struct live *live) {
    static const attr_t attributes[UP_LIVE_STYLES] = {
        [UP_LIVE_STRONG] = A_BOLD, [UP_LIVE_TITLE] = A_REVERSE, [UP_LIVE_DO] = A_BOLD,
        [UP_LIVE_WAIT] = A_NORMAL, [UP_LIVE_BAD] = A_BOLD,      [UP_LIVE_GOOD] = A_NORMAL};
    const struct up_canvas *canvas = &live->canvas;
    const struct up_cell *cell = canvas->cell;
    for (int row = 0; row < canvas->rows; row++) {
        for (int column = 0; column < canvas->columns; column++, cell++) {
            if (cell->text[0] != '\0') {
                attr_set(attributes[cell->style], live->pair[cell->style], NULL);
                mvaddstr(row, column, cell->text);
            }
        }
    }
}

/* False while the terminal claims a size beyond the bounds. */
static bool fit_canvas(const struct up_operator *op, struct up_canvas *canvas) {
    int rows = LINES, columns = COLS;
    read_size(op, &rows, &columns);
    if (rows > ROWS_MAX || columns > COLUMNS_MAX) {
        return false;
    }
    if (rows != LINES || columns != COLS) {
        resizeterm(rows, columns);
    }
    if (rows != canvas->rows || columns != canvas->columns) {
        canvas->rows = rows;
        canvas->columns = columns;
        canvas->cell =
            up_reallocate(canvas->cell, (size_t)rows * (size_t)columns, sizeof *canvas->cell);
    }
    return true;
}

void live_show(struct up_operator *op, bool away) {
    struct live *live = op->live;
    struct up_procedure_view now = up_procedure_view(op->procedure);
    struct up_live_view view = make_view(op, away, &now);
    char words[200], sentence[600];
    fill_load(op, now.has_tare, away, &view);
    describe_state(op, now.overloaded, away, &view, words, sizeof words, sentence, sizeof sentence);
    if (!fit_canvas(op, &live->canvas)) {
        return;
    }
    up_live_draw(&view, &live->canvas);
    erase();
    put_cells(live);
    refresh();
}

/* ---- the result ---- */

static bool show_result(struct up_operator *op, const struct up_result *result, unsigned results) {
    struct live *live = op->live;
    struct up_procedure_view now = up_procedure_view(op->procedure);
    struct up_live_view view = make_view(op, false, &now);
    char words[200], sentence[600];
    fill_load(op, false, false, &view);
    up_live_result(result, results, &op->style, words, sizeof words, sentence, sizeof sentence);
    view.asks = false;
    view.finished = true;
    view.result = result;
    view.results = results;
    view.by_pedal = op->by_pedal;
    view.words = words;
    view.sentence = sentence;
    view.mood = UP_LIVE_DO;
    if (!fit_canvas(op, &live->canvas)) {
        return false;
    }
    up_live_draw(&view, &live->canvas);
    erase();
    put_cells(live);
    refresh();
    return true;
}

static bool is_pressed(const struct up_operator *op) {
    bool pressed = false;
    enum up_pedal_word word;
    while (op->by_pedal && op->panel != NULL &&
           (word = panel_pedal_word(op->panel)) != UP_PEDAL_NOTHING) {
        pressed = pressed || word == UP_PEDAL_SHORT || word == UP_PEDAL_LONG;
    }
    return pressed;
}

void live_hold(struct up_operator *op, const struct up_result *result, unsigned results,
               const volatile sig_atomic_t *signalled) {
    enum { POLL_MS = 100 };
    struct live *live = op->live;
    double begin_s = up_monotonic_s();
    bool dismissed = false;
    flushinp(); /* what was typed before was meant for something else */
    while (!dismissed && (signalled == NULL || *signalled == 0) &&
           show_result(op, result, results)) {
        struct pollfd entry = {.fd = op->keyboard, .events = POLLIN};
        bool typed = poll(&entry, 1, POLL_MS) > 0, late = up_monotonic_s() - begin_s > TOO_SOON_S;
        bool key = getch() != ERR;
        live->empty_reads = typed && !key ? live->empty_reads + 1 : 0;
        dismissed =
            (key && late) || (is_pressed(op) && late) || live->empty_reads > EMPTY_READS_MAX;
    }
}
