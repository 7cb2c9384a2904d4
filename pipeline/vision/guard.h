// Turns exceptions into messages. Only C++ includes this.
#ifndef OFFTYPE_GUARD_H
#define OFFTYPE_GUARD_H

#include <cstring>
#include <exception>
#include <string>

namespace vis {

// Makes OpenCV silent: its errors come back as messages and are printed by the program.
void quiet();

inline char *copy(const std::string &s) { return strdup(s.empty() ? "unknown error" : s.c_str()); }

template <class F> char *guard(F f) {
    try {
        quiet();
        f();
        return nullptr;
    } catch (const std::exception &e) {
        return copy(e.what());
    } catch (...) {
        return copy("unknown error");
    }
}

}  // namespace vis
#endif
