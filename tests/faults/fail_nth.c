/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Put before a program (LD_PRELOAD), fails one of its calls: FAIL_AT=N the N-th of FAIL_KIND
 * (memory, write, sync, open, rename) with FAIL_ERRNO, with FAIL_STAYS all after it too. FAIL_SAYS
 * names a file that reports it: without FAIL_AT how many calls there were, with it whether one
 * failed.
 *
 * The kernel hands each system call of these kinds to a handler here (seccomp), because those that
 * libc makes itself, as stdio does, cannot be put before. Of allocations the file names those whose
 * callers had not been met before, first and last: one failure a place says it all.
 */
#define _GNU_SOURCE
#include <errno.h>
#include <execinfo.h>
#include <fcntl.h>
#include <linux/audit.h>
#include <linux/filter.h>
#include <linux/seccomp.h>
#include <signal.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/syscall.h>
#include <ucontext.h>
#include <unistd.h>

#if !defined(__x86_64__) || !defined(__GLIBC__)
#error "the sweep of failed calls is written for x86-64 and glibc: it is skipped here"
#endif

enum kind { MEMORY, WRITE, SYNC, OPEN, RENAME, KINDS };
static const char *const kind_names[KINDS] = {"memory", "write", "sync", "open", "rename"};

static unsigned long calls[KINDS];
static unsigned long fail_at;
static enum kind fail_kind = KINDS;
static int fail_errno;
static bool fail_stays, counts;
static char says[512];

/* ---- a system call that the kernel lets through ---- */

long fail_nth_call(long number, long a, long b, long c, long d, long e, long f);
extern const char fail_nth_called[];
__asm__(".text\n"
        ".globl fail_nth_call, fail_nth_called\n"
        ".hidden fail_nth_called\n"
        ".type fail_nth_call, @function\n"
        "fail_nth_call:\n"
        "  mov %rdi, %rax\n  mov %rsi, %rdi\n  mov %rdx, %rsi\n  mov %rcx, %rdx\n"
        "  mov %r8, %r10\n  mov %r9, %r8\n  mov 8(%rsp), %r9\n"
        "  syscall\n"
        "fail_nth_called:\n"
        "  ret\n");

static void tell_failed(void) {
    long file =
        fail_nth_call(SYS_openat, AT_FDCWD, (long)says, O_WRONLY | O_CREAT | O_CLOEXEC, 0600, 0, 0);
    if (file >= 0) {
        fail_nth_call(SYS_write, file, (long)"failed\n", 7, 0, 0, 0);
        fail_nth_call(SYS_close, file, 0, 0, 0, 0, 0);
    }
}

static bool fails(enum kind kind) {
    unsigned long number = ++calls[kind];
    bool hit =
        kind == fail_kind && fail_at > 0 && (number == fail_at || (fail_stays && number > fail_at));
    if (hit && number == fail_at) {
        tell_failed();
    }
    return hit;
}

/* ---- system calls ---- */

struct watched {
    int number;
    enum kind kind;
};
static const struct watched watched[] = {
    {SYS_write, WRITE},   {SYS_pwrite64, WRITE},  {SYS_writev, WRITE},    {SYS_pwritev, WRITE},
    {SYS_fsync, SYNC},    {SYS_fdatasync, SYNC},  {SYS_open, OPEN},       {SYS_openat, OPEN},
    {SYS_rename, RENAME}, {SYS_renameat, RENAME}, {SYS_renameat2, RENAME}};
enum { WATCHED = sizeof watched / sizeof watched[0] };

static void handle(int signal, siginfo_t *about, void *context) {
    greg_t *registers = ((ucontext_t *)context)->uc_mcontext.gregs;
    enum kind kind = KINDS;
    (void)signal;
    for (size_t i = 0; i < WATCHED; i++) {
        kind = watched[i].number == about->si_syscall ? watched[i].kind : kind;
    }
    /* The line that says what failed has to come through. */
    bool spared = kind == WRITE && registers[REG_RDI] == STDERR_FILENO;
    registers[REG_RAX] =
        kind != KINDS && !spared && fails(kind)
            ? -fail_errno
            : fail_nth_call(about->si_syscall, registers[REG_RDI], registers[REG_RSI],
                            registers[REG_RDX], registers[REG_R10], registers[REG_R8],
                            registers[REG_R9]);
}

static void watch(void) {
    struct sigaction action = {.sa_sigaction = handle, .sa_flags = SA_SIGINFO | SA_RESTART};
    uint64_t through = (uint64_t)(uintptr_t)fail_nth_called;
    struct sock_filter filter[WATCHED + 8];
    unsigned short at = 0;
    filter[at++] =
        (struct sock_filter)BPF_STMT(BPF_LD | BPF_W | BPF_ABS, offsetof(struct seccomp_data, nr));
    for (unsigned short i = 0; i < WATCHED; i++) {
        filter[at++] =
            (struct sock_filter)BPF_JUMP(BPF_JMP | BPF_JEQ | BPF_K, (unsigned)watched[i].number,
                                         (unsigned char)(WATCHED - i), 0);
    }
    filter[at++] = (struct sock_filter)BPF_STMT(BPF_RET | BPF_K, SECCOMP_RET_ALLOW);
    filter[at++] = (struct sock_filter)BPF_STMT(BPF_LD | BPF_W | BPF_ABS,
                                                offsetof(struct seccomp_data, instruction_pointer));
    filter[at++] = (struct sock_filter)BPF_JUMP(BPF_JMP | BPF_JEQ | BPF_K, (uint32_t)through, 0, 3);
    filter[at++] = (struct sock_filter)BPF_STMT(
        BPF_LD | BPF_W | BPF_ABS, offsetof(struct seccomp_data, instruction_pointer) + 4);
    filter[at++] =
        (struct sock_filter)BPF_JUMP(BPF_JMP | BPF_JEQ | BPF_K, (uint32_t)(through >> 32), 0, 1);
    filter[at++] = (struct sock_filter)BPF_STMT(BPF_RET | BPF_K, SECCOMP_RET_ALLOW);
    filter[at++] = (struct sock_filter)BPF_STMT(BPF_RET | BPF_K, SECCOMP_RET_TRAP);
    struct sock_fprog program = {.len = at, .filter = filter};
    if (sigaction(SIGSYS, &action, NULL) != 0 || prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) != 0 ||
        prctl(PR_SET_SECCOMP, SECCOMP_MODE_FILTER, &program) != 0) {
        static const char words[] = "fail_nth: this kernel has no seccomp filters\n";
        fail_nth_call(SYS_write, STDERR_FILENO, (long)words, sizeof words - 1, 0, 0, 0);
        _exit(99);
    }
}

/* ---- memory ---- */

void *__libc_malloc(size_t size);
void *__libc_calloc(size_t count, size_t size);
void *__libc_realloc(void *old, size_t size);

enum { PLACES_MAX = 1 << 16, FRAMES = 8, OWN_FRAMES = 2 };
static struct {
    uint64_t callers; /* 0: free */
    unsigned long first, last;
} place[PLACES_MAX];
static bool looking;

static void note_place(void) {
    void *frame[FRAMES];
    uint64_t hash = 14695981039346656037U;
    if (looking) {
        return;
    }
    looking = true;
    int depth = backtrace(frame, FRAMES);
    looking = false;
    for (int i = OWN_FRAMES; i < depth; i++) {
        hash = (hash ^ (uint64_t)(uintptr_t)frame[i]) * 1099511628211U;
    }
    hash |= 1;
    size_t at = hash % PLACES_MAX;
    while (place[at].callers != 0 && place[at].callers != hash) {
        at = (at + 1) % PLACES_MAX;
    }
    place[at].first = place[at].callers == 0 ? calls[MEMORY] : place[at].first;
    place[at].last = calls[MEMORY];
    place[at].callers = hash;
}

static bool memory_fails(void) {
    if (looking) {
        return false;
    }
    bool failed = fails(MEMORY);
    if (counts) {
        note_place();
    }
    if (failed) {
        errno = ENOMEM;
    }
    return failed;
}

void *malloc(size_t size) {
    return memory_fails() ? NULL : __libc_malloc(size);
}

void *calloc(size_t count, size_t size) {
    return memory_fails() ? NULL : __libc_calloc(count, size);
}

void *realloc(void *old, size_t size) {
    return memory_fails() ? NULL : __libc_realloc(old, size);
}

/* ---- begin and end ---- */

/* Where it broke, for whoever has to find out. */
static void tell_broken(int signal) {
    void *frame[32];
    looking = true;
    backtrace_symbols_fd(frame, backtrace(frame, 32), STDERR_FILENO);
    raise(signal);
}

__attribute__((constructor)) static void begin(void) {
    const char *kind = getenv("FAIL_KIND"), *at = getenv("FAIL_AT"), *number = getenv("FAIL_ERRNO");
    void *frame[FRAMES];
    looking = true;
    backtrace(frame, FRAMES); /* the first time it loads a library */
    looking = false;
    snprintf(says, sizeof says, "%s",
             getenv("FAIL_SAYS") != NULL ? getenv("FAIL_SAYS") : "/dev/null");
    fail_stays = getenv("FAIL_STAYS") != NULL;
    fail_errno = number != NULL ? atoi(number) : EIO;
    counts = at == NULL;
    for (int i = 0; kind != NULL && i < KINDS; i++) {
        fail_kind = strcmp(kind, kind_names[i]) == 0 ? (enum kind)i : fail_kind;
    }
    struct sigaction broken = {.sa_handler = tell_broken, .sa_flags = (int)SA_RESETHAND};
    sigaction(SIGSEGV, &broken, NULL);
    sigaction(SIGABRT, &broken, NULL);
    watch();
    memset(calls, 0, sizeof calls);
    fail_at = at != NULL ? strtoul(at, NULL, 10) : 0;
}

__attribute__((destructor)) static void end(void) {
    unsigned long counted[KINDS];
    memcpy(counted, calls, sizeof counted);
    FILE *file = counts ? fopen(says, "w") : NULL;
    if (file == NULL) {
        return;
    }
    for (int i = 0; i < KINDS; i++) {
        fprintf(file, "%s %lu\n", kind_names[i], counted[i]);
    }
    for (size_t i = 0; i < PLACES_MAX; i++) {
        if (place[i].callers != 0) {
            fprintf(file, "place %lu %lu\n", place[i].first, place[i].last);
        }
    }
    fclose(file);
}
