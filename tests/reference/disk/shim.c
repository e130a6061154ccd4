/* Stands between a program and its disk (LD_PRELOAD), for files under DISK_ROOT:
 *   DISK_TRACE=FILE   every write, sync, truncation and change of a name goes to FILE
 *   DISK_FAIL=CLASS:N:ERRNO[:STAY]  the n-th call of a class fails (with STAY, and all after it);
 *     classes: write, sync, read, open, truncate, name (unlink, rename, link), lock, map, stat; of any
 *     path: memory (malloc, calloc, realloc), sqlite (those of them that SQLite makes)
 *   DISK_SQLITE=FROM-TO,FROM-TO   where SQLite's two functions that allocate stand in the program
 *   DISK_COUNT=FILE   at the end: the number of calls of each class
 * Records of the trace: a letter, three little-endian u64 (inode or 0, offset or length, payload
 * length), the payload. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <link.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <unistd.h>

enum { WRITE, SYNC, READ, OPEN, TRUNCATE, NAME, LOCK, MAP, STAT, MEMORY, SQLITE, CLASSES };
static const char *const names[CLASSES] = {"write", "sync", "read", "open", "truncate", "name", "lock", "map", "stat", "memory", "sqlite"};
extern void *__libc_malloc(size_t);
extern void *__libc_calloc(size_t, size_t);
extern void *__libc_realloc(void *, size_t);
static uintptr_t from[2], upto[2];
static long seen[CLASSES];
static int fail_class = -1, fail_errno, fail_stay, trace = -1, ready;
static long fail_at;
static const char *root;

static int program(struct dl_phdr_info *info, size_t n, void *base) {
  (void)n;
  *(uintptr_t *)base = info->dlpi_addr;
  return 1; /* the first one is the program itself */
}

__attribute__((constructor)) static void start(void) {
  const char *sqlite = getenv("DISK_SQLITE");
  if (sqlite) {
    uintptr_t base = 0;
    dl_iterate_phdr(program, &base);
    if (sscanf(sqlite, "%lx-%lx,%lx-%lx", &from[0], &upto[0], &from[1], &upto[1]) == 4)
      for (int i = 0; i < 2; i++) from[i] += base, upto[i] += base;
  }
  root = getenv("DISK_ROOT");
  const char *to = getenv("DISK_TRACE"), *fail = getenv("DISK_FAIL");
  if (to) trace = syscall(SYS_openat, AT_FDCWD, to, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0644);
  if (fail) {
    char class[16];
    fail_stay = strstr(fail, ":STAY") != NULL;
    if (sscanf(fail, "%15[a-z]:%ld:%d", class, &fail_at, &fail_errno) == 3)
      for (int i = 0; i < CLASSES; i++)
        if (!strcmp(class, names[i])) fail_class = i;
  }
  ready = 1;
}

__attribute__((destructor)) static void end(void) {
  ready = 0;
  const char *to = getenv("DISK_COUNT");
  if (!to) return;
  FILE *f = fopen(to, "w");
  if (!f) return;
  for (int i = 0; i < CLASSES; i++) fprintf(f, "%s %ld\n", names[i], seen[i]);
  fclose(f);
}

static int fails(int class) {
  if (!ready) return 0;
  long n = __sync_add_and_fetch(&seen[class], 1);
  if (class == fail_class && (n == fail_at || (fail_stay && n > fail_at))) {
    errno = fail_errno;
    return 1;
  }
  return 0;
}

static int ours(const char *path) {
  if (!root || !path) return 0;
  if (path[0] == '/') return !strncmp(path, root, strlen(root));
  char here[4096];
  return getcwd(here, sizeof here) && !strncmp(here, root, strlen(root));
}

static int path_of(int fd, char *out, size_t n) {
  char link[64];
  snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
  ssize_t got = readlink(link, out, n - 1);
  if (got < 0) return 0;
  out[got] = 0;
  return ours(out);
}

static uint64_t inode(int fd) {
  struct stat s;
  return syscall(SYS_fstat, fd, &s) ? 0 : (uint64_t)s.st_ino;
}

static void note(char op, uint64_t a, uint64_t b, const void *data, size_t n) {
  if (trace < 0) return;
  int kept = errno;
  char *all = __libc_malloc(25 + n);
  uint64_t head[3] = {a, b, n};
  all[0] = op;
  memcpy(all + 1, head, 24);
  memcpy(all + 25, data, n);
  if (syscall(SYS_write, trace, all, 25 + n) < 0) abort();
  free(all);
  errno = kept;
}

static void note2(char op, const char *a, const char *b) {
  char both[8300];
  char pa[4200], pb[4200];
  char here[4096] = "";
  if (!getcwd(here, sizeof here)) return;
  snprintf(pa, sizeof pa, a[0] == '/' ? "%s%s" : "%s/%s", a[0] == '/' ? "" : here, a);
  snprintf(pb, sizeof pb, !b || b[0] == '/' ? "%s%s" : "%s/%s", !b || b[0] == '/' ? "" : here, b ? b : "");
  int n = snprintf(both, sizeof both, "%s\n%s", pa, pb);
  note(op, 0, 0, both, n);
}

#define REAL(name) __typeof__(name) *real = dlsym(RTLD_NEXT, #name)

static int open_any(const char *path, int flags, mode_t mode) {
  if (ours(path)) {
    if (fails(OPEN)) return -1;
    int fresh = (flags & O_CREAT) && syscall(SYS_faccessat, AT_FDCWD, path, F_OK) != 0;
    int fd = syscall(SYS_openat, AT_FDCWD, path, flags, mode);
    char full[4096];
    if (fd >= 0 && path_of(fd, full, sizeof full)) {
      if (fresh) note('C', inode(fd), 0, full, strlen(full));
      if (flags & O_TRUNC) note('T', inode(fd), 0, "", 0);
    }
    return fd;
  }
  return syscall(SYS_openat, AT_FDCWD, path, flags, mode);
}
#define MODE mode_t mode = 0; if (flags & (O_CREAT | O_TMPFILE)) { va_list l; va_start(l, flags); mode = va_arg(l, int); va_end(l); }
int open(const char *path, int flags, ...) { MODE return open_any(path, flags, mode); }
int open64(const char *path, int flags, ...) { MODE return open_any(path, flags | O_LARGEFILE, mode); }

static ssize_t wrote(int fd, const void *data, size_t n, off_t at, ssize_t done) {
  (void)n;
  if (done > 0) note('W', inode(fd), at, data, done);
  return done;
}
ssize_t pwrite(int fd, const void *data, size_t n, off_t at) {
  char p[4096];
  if (!path_of(fd, p, sizeof p)) return syscall(SYS_pwrite64, fd, data, n, at);
  if (fails(WRITE)) return -1;
  return wrote(fd, data, n, at, syscall(SYS_pwrite64, fd, data, n, at));
}
ssize_t pwrite64(int fd, const void *data, size_t n, off_t at) { return pwrite(fd, data, n, at); }
ssize_t write(int fd, const void *data, size_t n) {
  char p[4096];
  if (fd <= 2 || !path_of(fd, p, sizeof p)) return syscall(SYS_write, fd, data, n);
  if (fails(WRITE)) return -1;
  off_t at = lseek(fd, 0, SEEK_CUR);
  return wrote(fd, data, n, at, syscall(SYS_write, fd, data, n));
}
ssize_t pread(int fd, void *data, size_t n, off_t at) {
  char p[4096];
  if (path_of(fd, p, sizeof p) && fails(READ)) return -1;
  return syscall(SYS_pread64, fd, data, n, at);
}
ssize_t pread64(int fd, void *data, size_t n, off_t at) { return pread(fd, data, n, at); }

static int synced(int fd, int how) {
  char p[4096];
  int mine = path_of(fd, p, sizeof p);
  if (mine && fails(SYNC)) return -1;
  int done = syscall(how, fd);
  struct stat s;
  if (mine && !done && !syscall(SYS_fstat, fd, &s)) note(S_ISDIR(s.st_mode) ? 'D' : 'S', s.st_ino, 0, p, strlen(p));
  return done;
}
int fsync(int fd) { return synced(fd, SYS_fsync); }
int fdatasync(int fd) { return synced(fd, SYS_fdatasync); }

int ftruncate(int fd, off_t n) {
  char p[4096];
  int mine = path_of(fd, p, sizeof p);
  if (mine && fails(TRUNCATE)) return -1;
  int done = syscall(SYS_ftruncate, fd, n);
  if (mine && !done) note('T', inode(fd), n, "", 0);
  return done;
}
int ftruncate64(int fd, off_t n) { return ftruncate(fd, n); }

int unlink(const char *a) {
  if (ours(a) && fails(NAME)) return -1;
  int done = syscall(SYS_unlinkat, AT_FDCWD, a, 0);
  if (ours(a) && !done) note2('U', a, NULL);
  return done;
}
int rename(const char *a, const char *b) {
  if (ours(a) && fails(NAME)) return -1;
  int done = syscall(SYS_renameat2, AT_FDCWD, a, AT_FDCWD, b, 0);
  if (ours(a) && !done) note2('R', a, b);
  return done;
}
int link(const char *a, const char *b) {
  if (ours(a) && fails(NAME)) return -1;
  int done = syscall(SYS_linkat, AT_FDCWD, a, AT_FDCWD, b, 0);
  if (ours(a) && !done) note2('L', a, b);
  return done;
}
int linkat(int da, const char *a, int db, const char *b, int flags) {
  if (ours(a) && fails(NAME)) return -1;
  int done = syscall(SYS_linkat, da, a, db, b, flags);
  if (ours(a) && !done) note2('L', a, b);
  return done;
}

static int locked(int fd, int what, void *with) {
  char p[4096];
  int locks = what == F_SETLK || what == F_SETLKW || what == F_OFD_SETLK;
  if (locks && path_of(fd, p, sizeof p) && ((struct flock *)with)->l_type != F_UNLCK && fails(LOCK)) return -1;
  return syscall(SYS_fcntl, fd, what, with);
}
#define WITH va_list l; va_start(l, what); void *with = va_arg(l, void *); va_end(l);
int fcntl(int fd, int what, ...) { WITH return locked(fd, what, with); }
int fcntl64(int fd, int what, ...) { WITH return locked(fd, what, with); }

void *mmap(void *at, size_t n, int may, int how, int fd, off_t from) {
  char p[4096];
  if (fd >= 0 && path_of(fd, p, sizeof p) && fails(MAP)) return MAP_FAILED;
  return (void *)syscall(SYS_mmap, at, n, may, how, fd, from);
}
void *mmap64(void *at, size_t n, int may, int how, int fd, off_t from) { return mmap(at, n, may, how, fd, from); }

static int looked(int folder, const char *path, struct stat *s, int how) {
  if (ours(path) && fails(STAT)) return -1;
  return syscall(SYS_newfstatat, folder, path, s, how);
}
static int looked_at(int fd, struct stat *s) {
  char p[4096];
  if (path_of(fd, p, sizeof p) && fails(STAT)) return -1;
  return syscall(SYS_fstat, fd, s);
}
int stat(const char *path, struct stat *s) { return looked(AT_FDCWD, path, s, 0); }
int stat64(const char *path, struct stat64 *s) { return looked(AT_FDCWD, path, (struct stat *)s, 0); }
int lstat(const char *path, struct stat *s) { return looked(AT_FDCWD, path, s, AT_SYMLINK_NOFOLLOW); }
int lstat64(const char *path, struct stat64 *s) { return looked(AT_FDCWD, path, (struct stat *)s, AT_SYMLINK_NOFOLLOW); }
int fstat(int fd, struct stat *s) { return looked_at(fd, s); }
int fstat64(int fd, struct stat64 *s) { return looked_at(fd, (struct stat *)s); }
int statx(int folder, const char *path, int how, unsigned mask, struct statx *s) {
  char p[4096];
  const char *volatile asked = path; /* the language's runtime asks with none to see what there is */
  int mine = asked && *path ? ours(path) : path_of(folder, p, sizeof p);
  if (mine && fails(STAT)) return -1;
  return syscall(SYS_statx, folder, path, how, mask, s);
}

static int no_memory(uintptr_t caller) {
  if (!ready) return 0;
  int sqlite = (caller >= from[0] && caller < upto[0]) || (caller >= from[1] && caller < upto[1]);
  int fail = fails(MEMORY);
  return (sqlite && fails(SQLITE)) || fail;
}
#define CALLER ((uintptr_t)__builtin_return_address(0))
void *malloc(size_t n) { return no_memory(CALLER) ? NULL : __libc_malloc(n); }
void *calloc(size_t n, size_t m) { return no_memory(CALLER) ? NULL : __libc_calloc(n, m); }
void *realloc(void *p, size_t n) { return no_memory(CALLER) ? NULL : __libc_realloc(p, n); }
