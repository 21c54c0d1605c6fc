/* Preloaded into a process under test: one chosen write below FAULT_ROOT fails, as a bad or full disk makes it fail.
 *
 * FAULT_ROOT    only files whose path starts with this are counted
 * FAULT_AT      the number, from 1, of the call that fails (0: none, only count)
 * FAULT_HOW     "once": only that call fails; "on": that call and all later ones fail (a disk that stays full);
 *               "short": that call writes half of its bytes, and all later ones fail
 * FAULT_ERRNO   the error number it fails with
 * FAULT_COUNT   a file that gets the number of counted calls when the process ends (may be absent)
 *
 * Counted: write, pwrite, fsync, fdatasync, ftruncate, rename, unlink and opening a file for writing.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

static atomic_long calls;
enum { PASS, FAIL, HALF };

static int below_root(const char *path)
{
    const char *root = getenv("FAULT_ROOT");
    return root != NULL && strncmp(path, root, strlen(root)) == 0;
}

static int below_root_fd(int fd)
{
    char link[64], path[4096];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, path, sizeof path - 1);
    if (length < 0)
        return 0;
    path[length] = 0;
    return below_root(path);
}

static int verdict(void)
{
    const char *at_text = getenv("FAULT_AT"), *how = getenv("FAULT_HOW"), *number = getenv("FAULT_ERRNO");
    long at = at_text ? atol(at_text) : 0, now = atomic_fetch_add(&calls, 1) + 1;
    if (at == 0 || how == NULL || now < at || (now > at && strcmp(how, "once") == 0))
        return PASS;
    errno = number ? atoi(number) : EIO;
    return now == at && strcmp(how, "short") == 0 ? HALF : FAIL;
}

#define REAL(name) ((__typeof__(&name))dlsym(RTLD_NEXT, #name))

ssize_t write(int fd, const void *data, size_t size)
{
    int what = below_root_fd(fd) ? verdict() : PASS;
    return what == FAIL ? -1 : REAL(write)(fd, data, what == HALF ? (size + 1) / 2 : size);
}

ssize_t pwrite64(int fd, const void *data, size_t size, off64_t offset)
{
    int what = below_root_fd(fd) ? verdict() : PASS;
    return what == FAIL ? -1 : REAL(pwrite64)(fd, data, what == HALF ? (size + 1) / 2 : size, offset);
}

ssize_t pwrite(int fd, const void *data, size_t size, off_t offset)
{
    return pwrite64(fd, data, size, offset);
}

int fsync(int fd) { return below_root_fd(fd) && verdict() != PASS ? -1 : REAL(fsync)(fd); }

int fdatasync(int fd) { return below_root_fd(fd) && verdict() != PASS ? -1 : REAL(fdatasync)(fd); }

int ftruncate64(int fd, off64_t size)
{
    return below_root_fd(fd) && verdict() != PASS ? -1 : REAL(ftruncate64)(fd, size);
}

int ftruncate(int fd, off_t size) { return ftruncate64(fd, size); }

int rename(const char *from, const char *to)
{
    return below_root(to) && verdict() != PASS ? -1 : REAL(rename)(from, to);
}

int unlink(const char *path) { return below_root(path) && verdict() != PASS ? -1 : REAL(unlink)(path); }

int open64(const char *path, int flags, ...)
{
    va_list more;
    va_start(more, flags);
    mode_t mode = flags & (O_CREAT | O_TMPFILE) ? va_arg(more, mode_t) : 0;
    va_end(more);
    return (flags & O_ACCMODE) != O_RDONLY && below_root(path) && verdict() != PASS ? -1 : REAL(open64)(path, flags, mode);
}

int open(const char *path, int flags, ...)
{
    va_list more;
    va_start(more, flags);
    mode_t mode = flags & (O_CREAT | O_TMPFILE) ? va_arg(more, mode_t) : 0;
    va_end(more);
    return open64(path, flags, mode);
}

__attribute__((destructor)) static void tell_count(void)
{
    const char *path = getenv("FAULT_COUNT");
    FILE *file = path ? fopen(path, "w") : NULL;
    if (file) {
        fprintf(file, "%ld\n", atomic_load(&calls));
        fclose(file);
    }
}
