/* Preloaded into a process: writes down every change that it asks of the files under RECORD_ROOT, in order.
 *
 * A record: operation (1 byte), inode (8), offset (8), length of path (4), length of data (4), path, data. What is
 * written into a file named *.marks is kept as a mark and is no part of the disk. Reading is not recorded.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <unistd.h>

static pthread_mutex_t guard = PTHREAD_MUTEX_INITIALIZER;
static int log_fd = -2;
static const char *root;

static int on(void) {
    if (log_fd == -2) {
        const char *to = getenv("RECORD_LOG");
        root = getenv("RECORD_ROOT");
        log_fd = to && root ? (int)syscall(SYS_openat, AT_FDCWD, to, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0644) : -1;
    }
    return log_fd >= 0;
}

static int inside(const char *path) { return path && on() && strncmp(path, root, strlen(root)) == 0; }

static void note(char op, uint64_t inode, int64_t offset, const char *path, const void *data, uint32_t size) {
    uint32_t length = path ? (uint32_t)strlen(path) : 0;
    char *all = malloc(25 + length + size), *at = all;
    *at++ = op;
    memcpy(at, &inode, 8), at += 8;
    memcpy(at, &offset, 8), at += 8;
    memcpy(at, &length, 4), at += 4;
    memcpy(at, &size, 4), at += 4;
    if (length) memcpy(at, path, length), at += length;
    if (size) memcpy(at, data, size), at += size;
    size_t left = (size_t)(at - all);
    char *from = all;
    while (left) {
        long done = syscall(SYS_write, log_fd, from, left);
        if (done <= 0) abort();
        from += done, left -= (size_t)done;
    }
    free(all);
}

static char *path_of(int fd, char *into) {
    char link[64];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    long size = syscall(SYS_readlinkat, AT_FDCWD, link, into, 4095);
    if (size <= 0) return NULL;
    into[size] = 0;
    return inside(into) ? into : NULL;
}

static uint64_t inode_of(int fd) {
    struct stat seen;
    return fstat(fd, &seen) == 0 ? (uint64_t)seen.st_ino : 0;
}

#define REAL(name) \
    static __typeof__(&name) real; \
    if (!real) real = (__typeof__(&name))dlsym(RTLD_NEXT, #name)

static int opened(int fd, const char *path, int flags, int was_there) {
    char whole[4096];
    if (fd < 0 || !(flags & (O_WRONLY | O_RDWR | O_CREAT)) || !path_of(fd, whole)) return fd;
    (void)path;
    if (strstr(whole, ".marks")) return fd;
    pthread_mutex_lock(&guard);
    if ((flags & O_TMPFILE) == O_TMPFILE) note('N', inode_of(fd), 0, whole, NULL, 0);
    else note(was_there ? 'O' : 'C', inode_of(fd), 0, whole, NULL, 0);
    if (was_there && (flags & O_TRUNC)) note('T', inode_of(fd), 0, whole, NULL, 0);
    pthread_mutex_unlock(&guard);
    return fd;
}

#define OPENING(name) \
    int name(const char *path, int flags, ...) { \
        REAL(name); \
        va_list more; va_start(more, flags); int mode = (flags & O_CREAT) ? va_arg(more, int) : 0; va_end(more); \
        int there = access(path, F_OK) == 0; \
        return opened(real(path, flags, mode), path, flags, there); \
    }
OPENING(open)
OPENING(open64)

#define OPENING_AT(name) \
    int name(int folder, const char *path, int flags, ...) { \
        REAL(name); \
        va_list more; va_start(more, flags); int mode = (flags & O_CREAT) ? va_arg(more, int) : 0; va_end(more); \
        int there = faccessat(folder, path, F_OK, 0) == 0; \
        return opened(real(folder, path, flags, mode), path, flags, there); \
    }
OPENING_AT(openat)
OPENING_AT(openat64)

static void wrote(int fd, int64_t offset, const void *data, ssize_t size) {
    char whole[4096];
    if (size <= 0 || fd == log_fd || !on() || !path_of(fd, whole)) return;
    pthread_mutex_lock(&guard);
    if (strstr(whole, ".marks")) note('M', 0, 0, NULL, data, (uint32_t)size);
    else note('W', inode_of(fd), offset, whole, data, (uint32_t)size);
    pthread_mutex_unlock(&guard);
}

ssize_t write(int fd, const void *data, size_t size) {
    REAL(write);
    int64_t at = on() ? (int64_t)lseek(fd, 0, SEEK_CUR) : 0;
    ssize_t done = real(fd, data, size);
    wrote(fd, at, data, done);
    return done;
}
ssize_t pwrite(int fd, const void *data, size_t size, off_t at) {
    REAL(pwrite);
    ssize_t done = real(fd, data, size, at);
    wrote(fd, at, data, done);
    return done;
}
ssize_t pwrite64(int fd, const void *data, size_t size, off64_t at) {
    REAL(pwrite64);
    ssize_t done = real(fd, data, size, at);
    wrote(fd, at, data, done);
    return done;
}

static int plain(int done, int fd, char op, int64_t size) {
    char whole[4096];
    if (done == 0 && on() && path_of(fd, whole)) {
        pthread_mutex_lock(&guard);
        note(op, inode_of(fd), size, whole, NULL, 0);
        pthread_mutex_unlock(&guard);
    }
    return done;
}
int ftruncate(int fd, off_t size) { REAL(ftruncate); return plain(real(fd, size), fd, 'T', size); }
int ftruncate64(int fd, off64_t size) { REAL(ftruncate64); return plain(real(fd, size), fd, 'T', size); }
int fsync(int fd) { REAL(fsync); return plain(real(fd), fd, 'S', 0); }
int fdatasync(int fd) { REAL(fdatasync); return plain(real(fd), fd, 'S', 0); }

static int named(int done, char op, const char *path, const char *to) {
    if (done == 0 && inside(path)) {
        pthread_mutex_lock(&guard);
        note(op, 0, 0, path, to, to ? (uint32_t)strlen(to) : 0);
        pthread_mutex_unlock(&guard);
    }
    return done;
}
int unlink(const char *path) { REAL(unlink); return named(real(path), 'U', path, NULL); }
int rmdir(const char *path) { REAL(rmdir); return named(real(path), 'U', path, NULL); }
int mkdir(const char *path, mode_t mode) { REAL(mkdir); return named(real(path, mode), 'D', path, NULL); }
int rename(const char *path, const char *to) { REAL(rename); return named(real(path, to), 'R', path, to); }
int linkat(int folder, const char *path, int other, const char *to, int flags) {
    REAL(linkat);
    struct stat seen;
    int done = real(folder, path, other, to, flags);
    if (done == 0 && inside(to) && stat(to, &seen) == 0) {
        pthread_mutex_lock(&guard);
        note('L', (uint64_t)seen.st_ino, 0, to, NULL, 0);
        pthread_mutex_unlock(&guard);
    }
    return done;
}
int unlinkat(int folder, const char *path, int flags) {
    REAL(unlinkat);
    char whole[4096], joined[8192];
    const char *name = path;
    if (folder != AT_FDCWD && path[0] != '/' && on() && path_of(folder, whole)) {
        snprintf(joined, sizeof joined, "%s/%s", whole, path);
        name = joined;
    }
    return named(real(folder, path, flags), 'U', name, NULL);
}
