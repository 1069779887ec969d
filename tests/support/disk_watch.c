/* Notes every write, cut and sync of files whose path holds "journal.db", in order, for
   support/power.py. Loaded before the C library (LD_PRELOAD); what it notes goes to the file
   descriptor that JOURNAL_NOTES names:
   one byte of kind (w, t, s, u), then as little-endian numbers the length of the path (2 bytes),
   the offset or size (8) and the length of the data (4); then path and data. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <limits.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

static ssize_t (*real_write)(int, const void *, size_t);

static void note(char kind, const char *path, uint64_t at, const void *data, uint32_t length) {
    const char *named = getenv("JOURNAL_NOTES");
    if (!named || !strstr(path, "journal.db") || strstr(path, "-shm") || strstr(path, ".lock"))
        return;
    if (!real_write)
        real_write = dlsym(RTLD_NEXT, "write");
    int notes = atoi(named);
    uint16_t size = (uint16_t)strlen(path);
    real_write(notes, &kind, 1);
    real_write(notes, &size, 2);
    real_write(notes, &at, 8);
    real_write(notes, &length, 4);
    real_write(notes, path, size);
    if (length)
        real_write(notes, data, length);
}

static void note_fd(char kind, int fd, uint64_t at, const void *data, uint32_t length) {
    char link[64], path[PATH_MAX];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t size = readlink(link, path, sizeof path - 1);
    if (size > 0) {
        path[size] = 0;
        note(kind, path, at, data, length);
    }
}

#define REAL(type, name, ...) \
    static type (*real)(__VA_ARGS__); \
    if (!real) real = dlsym(RTLD_NEXT, name)

ssize_t write(int fd, const void *data, size_t length) {
    if (!real_write) real_write = dlsym(RTLD_NEXT, "write");
    off_t at = lseek(fd, 0, SEEK_CUR);
    ssize_t done = real_write(fd, data, length);
    if (done > 0 && at >= 0) note_fd('w', fd, (uint64_t)at, data, (uint32_t)done);
    return done;
}

ssize_t pwrite64(int fd, const void *data, size_t length, off64_t at) {
    REAL(ssize_t, "pwrite64", int, const void *, size_t, off64_t);
    ssize_t done = real(fd, data, length, at);
    if (done > 0) note_fd('w', fd, (uint64_t)at, data, (uint32_t)done);
    return done;
}

ssize_t pwrite(int fd, const void *data, size_t length, off_t at) {
    return pwrite64(fd, data, length, at);
}

int ftruncate64(int fd, off64_t size) {
    REAL(int, "ftruncate64", int, off64_t);
    int done = real(fd, size);
    if (!done) note_fd('t', fd, (uint64_t)size, 0, 0);
    return done;
}

int ftruncate(int fd, off_t size) { return ftruncate64(fd, size); }

int fsync(int fd) {
    REAL(int, "fsync", int);
    int done = real(fd);
    if (!done) note_fd('s', fd, 0, 0, 0);
    return done;
}

int fdatasync(int fd) {
    REAL(int, "fdatasync", int);
    int done = real(fd);
    if (!done) note_fd('s', fd, 0, 0, 0);
    return done;
}

int unlink(const char *path) {
    REAL(int, "unlink", const char *);
    int done = real(path);
    if (!done) note('u', path, 0, 0, 0);
    return done;
}
