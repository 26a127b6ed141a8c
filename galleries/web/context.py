def visitor(request):
    return {}
